"""Many readings at once: by column, all or nothing, once however often they are sent."""

import hashlib
import random
from datetime import date, time, timedelta

import pytest

from farms.errors import Missing
from farms.ids import uuid7
from farms.ledger import row_hash, row_values
from farms.models import LedgerEntry
from monitoring.errors import TableRefused, TooManyRows
from monitoring.models import Placement, Reading, Round, WeeklySummary
from monitoring.selectors import stations_of
from monitoring.services import (
    HungSent,
    ImportPlan,
    RoundSent,
    correct_reading,
    record_round,
    record_table,
    table_of_rows,
)  # fmt: skip
from tests.cast import NOW, acting
from tests.monitoring.sending import HUNG, STAFF, TODAY, chain_holds, hang, nothing_stored, reading, send, stored

pytestmark = pytest.mark.django_db
DAY = timedelta(days=1)


def take(farm, rows, now=NOW, **plan):
    return record_table(farm=farm, table=table_of_rows(rows), plan=ImportPlan(**plan), actor=STAFF, now=now)


def all_or_nothing(farm, rows):
    return take(farm, rows, atomic=True)


def row(station="Card 1", count=None, hung_on="2026-05-25", taken_on="2026-06-01", **more):
    given = {"station": station, "count": count, "hung_on": hung_on, "taken_on": taken_on, **more}
    return {name: value for name, value in given.items() if value is not None}


def every_kind():
    return [
        row("Card 1", 0),
        row("tarjeta 2", 61, fraction=0.25),
        row("Card 3", 300, at_least=True, sides=2),
        row("Card 4", reason="lost"),
        row("Card 5", reason="not_visited", hung_on="2026-05-20"),
        row("Trap 1", 375, how="cup", pen='by the "gate" \\ 5 % \t off', weather="niño"),
        row(
            "Leg count 1", hung_on=None, animals=[3, 0, 5, 2], pen="Pen 4", time_of_day="09:30", weather="sunny",
            bunching=True, sprayed=False,
        ),
        row("Card 1", 7, hung_on="2026-05-18", taken_on="2026-05-25"),
    ]  # fmt: skip


def test_every_kind_of_reading_is_stored_as_a_round_would_store_it(northfield, anna):
    with acting(anna):
        result = take(northfield, every_kind())
        assert (result.stored, result.known, result.rounds, result.bad) == (8, 0, 2, [])
        rows = {(each.station.label, each.taken_on): each for each in Reading.objects.select_related("station")}
        assert Placement.objects.count() == 7
        assert [each.source for each in Round.objects.order_by("walked_on")] == ["file", "file"]
        assert WeeklySummary.objects.count() == 4
    part, legs = rows["Card 2", TODAY], rows["Leg count 1", TODAY]
    assert (part.count, part.how, float(part.fraction), part.hung_on) == (61, "part", 0.25, HUNG)
    assert (legs.count, legs.animals, legs.time_of_day, legs.bunching) == (10, [3, 0, 5, 2], time(9, 30), True)
    assert (rows["Trap 1", TODAY].pen, rows["Trap 1", TODAY].weather) == ('by the "gate" \\ 5 % \t off', "niño")
    assert rows["Card 3", TODAY].sides == 2
    assert rows["Card 5", TODAY].reason == "not_visited"
    assert chain_holds(northfield)


def test_the_chain_by_template_is_that_of_the_ledger(northfield, anna):
    """The template that hashes fifty thousand rows says what farms.ledger.row_hash says of each stored row."""
    with acting(anna):
        take(northfield, every_kind())
    hashes = []
    with acting(anna):
        for table in (Reading, Placement, Round):
            hashes += [row_hash(table._meta.db_table, row_values(each)) for each in table.objects.all()]
        entry = LedgerEntry.objects.get(kind="import")
    assert entry.rows == len(hashes) == 17
    assert bytes(entry.rows_hash) == hashlib.sha256(b"".join(sorted(hashes))).digest()


def test_the_same_table_sent_twice_is_stored_once(northfield, anna):
    with acting(anna):
        take(northfield, every_kind())
        again = take(northfield, every_kind(), now=NOW + DAY)
        assert (again.stored, again.known, again.rounds) == (0, 8, 0)
        assert Reading.objects.count() == 8
        assert LedgerEntry.objects.filter(kind="import").count() == 1


def test_a_longer_table_adds_what_is_new(northfield, anna):
    with acting(anna):
        take(northfield, every_kind())
        more = [*every_kind(), row("Trap 2", 40), row("Card 5", 44, hung_on="2026-05-20", taken_on="2026-06-01")]
        with pytest.raises(TableRefused) as refused:
            all_or_nothing(northfield, more)
        # Card 5 was not visited on that very day, it says.
        assert [(each.pointer, each.code) for each in refused.value.errors] == [("/readings/9/station", "same_card")]
        added = take(northfield, [*every_kind(), row("Trap 2", 40)])
        assert (added.stored, added.known, added.rounds) == (1, 8, 0)
    assert chain_holds(northfield)


def test_a_changed_count_is_told_and_not_stored(northfield, anna):
    with acting(anna):
        take(northfield, [row("Card 1", 85)])
        with pytest.raises(TableRefused) as refused:
            all_or_nothing(northfield, [row("Card 1", 86)])
    (error,) = refused.value.errors
    assert (error.pointer, error.code) == ("/readings/0/count", "reading_differs")
    assert "Card 1, June 1, 2026: 85 is stored for it." in error.detail
    assert [each.count for each in stored(northfield)] == [85]


def test_a_table_sent_again_after_a_correction_is_still_known(northfield, anna, cards):
    with acting(anna):
        take(northfield, [row("Card 1", 85), row("Card 2", 85)])
        first, second = Reading.objects.order_by("station__number")
        new = reading(cards[0], 58)
        correct_reading(farm=northfield, reading_id=first.id, correction=new, kind="mistyped", actor=STAFF, now=NOW)
        gone = reading(cards[1])
        correct_reading(farm=northfield, reading_id=second.id, correction=gone, kind="withdrawn", actor=STAFF, now=NOW)
        assert take(northfield, [row("Card 1", 85), row("Card 2", 85)]).known == 2
        # So is one in which the count was corrected too.
        assert take(northfield, [row("Card 1", 58)]).known == 1
        assert Reading.objects.current().count() == 1


def test_what_was_sent_by_phone_is_known_to_a_table(northfield, anna, cards):
    with acting(anna):
        hang(northfield, cards)
        send(northfield, reading(cards[0], 7), reading(cards[1], 8))
        result = take(northfield, [row("Card 1", 7), row("Card 2", 9), row("Card 3", 5)])
        assert (result.stored, result.known) == (1, 1)
        assert [(bad.row, bad.code) for bad in result.bad] == [(1, "already_read")]
        # Card 3 hung already: it was that one which was read.
        third = Reading.objects.get(station_id=cards[2].id)
        assert third.placement_id == Placement.objects.get(station_id=cards[2].id).id
        assert Placement.objects.count() == 5


def test_a_card_taken_down_on_another_day_is_told(northfield, anna, cards):
    with acting(anna):
        hang(northfield, cards)
        send(northfield, reading(cards[0], 7))
        with pytest.raises(TableRefused) as refused:
            all_or_nothing(northfield, [row("Card 1", 7, taken_on="2026-05-31")])
    assert refused.value.errors[0].code == "already_read"


def test_a_phone_knows_what_a_table_brought(northfield, anna, cards):
    with acting(anna):
        take(northfield, [row("Card 1", 7)])
        send(northfield, reading(cards[0], 7, hung_on=HUNG))
        assert Reading.objects.count() == 1


def test_not_visited_and_counted_a_week_later_are_one_card(northfield, anna):
    rows = [
        row("Card 1", reason="not_visited", hung_on="2026-05-18", taken_on="2026-05-25"),
        row("Card 1", 140, hung_on="2026-05-18"),
    ]
    with acting(anna):
        take(northfield, rows)
        assert Placement.objects.count() == 1
        assert take(northfield, rows).known == 2


def test_two_cards_at_one_station_are_numbered(northfield, anna):
    with acting(anna):
        with pytest.raises(TableRefused) as refused:
            all_or_nothing(northfield, [row("Card 1", 7), row("Card 1", 7)])
        assert [(each.pointer, each.code) for each in refused.value.errors] == [("/readings/1/station", "same_card")]
        assert "Row 0 is of the same station and days." in refused.value.errors[0].detail
        two = [row("Card 1", 7, device=1), row("Card 1", 7, device=2)]
        assert take(northfield, two).stored == 2
        assert take(northfield, two).known == 2
        assert Placement.objects.count() == 2


def test_two_cards_hung_by_phone_are_both_read(northfield, anna, cards):
    both = tuple(HungSent(uuid7(), cards[0].id, HUNG) for _ in range(2))
    with acting(anna):
        record_round(farm=northfield, sent=RoundSent(uuid7(), HUNG, "form", hung=both), actor=STAFF, now=NOW)
        take(northfield, [row("Card 1", 7), row("Card 1", 9, device=2)])
        assert {each.placement_id for each in Reading.objects.all()} == {each.id for each in both}


def test_one_card_is_taken_down_once(northfield, anna):
    with acting(anna), pytest.raises(TableRefused) as refused:
        all_or_nothing(northfield, [row("Card 1", 7, taken_on="2026-05-30"), row("Card 1", 9)])
    assert [(each.pointer, each.code) for each in refused.value.errors] == [("/readings/1/hung_on", "down_already")]


def test_ids_of_the_senders_own_are_kept(northfield, anna, cards):
    one, other = str(uuid7()), str(uuid7())
    with acting(anna):
        take(northfield, [row(str(cards[0].id), 7, id=one), row("Card 2", 8, id=other.upper())])
        assert {str(each.id) for each in Reading.objects.all()} == {one, other}
        assert take(northfield, [row("Card 1", 7, id=one)]).known == 1
        with pytest.raises(TableRefused) as refused:
            all_or_nothing(
                northfield, [row("Card 3", 7, id=one), row("Card 4", 1, id=str(uuid7()), taken_on="2026-05-31")]
            )
        assert [each.code for each in refused.value.errors] == ["reading_differs"]
        with pytest.raises(TableRefused) as refused:
            all_or_nothing(northfield, [row("Card 3", 7, id=one), row("Card 4", 7, id=one)])
    assert [each.code for each in refused.value.errors][-1] in {"sent_twice", "reading_differs"}


BAD = [
    (row("Card 1", "7"), "count", "not_a_number"),
    (row("Card 1", -1), "count", "count_negative"),
    (row("Card 1", 7, reason="lost"), "count", "count_beside_reason"),
    (row("Card 1"), "count", "count_missing"),
    (row("Card 99", 7), "station", "unknown_station"),
    (row("Net 1", 7), "station", "not_a_station"),
    (row(7, 7), "station", "not_a_station"),
    (row("Card 1", 7, taken_on="2026-06-09"), "taken_on", "future_date"),
    (row("Card 1", 7, taken_on="1/6/2026"), "taken_on", "not_a_date"),
    (row("Card 1", 7, hung_on="2026-06-01"), "hung_on", "taken_before_hung"),
    (row("Card 1", 7, hung_on=None), "hung_on", "hung_missing"),
    (row("Card 1", 7, hung_on="2026-03-30", taken_on="2026-04-05"), "taken_on", "closed_season"),
    (row("Leg count 1", 7), "animals", "animals_missing"),
    (row("Card 1", 7, colour="blue"), "colour", "unknown_value"),
    (row("Card 1", 7, placement="x"), "placement", "unknown_value"),
    (row("Card 1", 7, taken_on=None), "taken_on", "taken_on_missing"),
    (row(None, 7), "station", "station_missing"),
    (row("Card 1", 7, device=0), "device", "device_out_of_range"),
    (row("Card 1", 7, id="x"), "id", "not_an_id"),
    ("Card 1", "", "not_an_object"),
]


@pytest.mark.parametrize(("bad", "column", "code"), BAD)
def test_a_bad_cell_is_named_and_nothing_is_stored(northfield, anna, bad, column, code):
    with acting(anna), pytest.raises(TableRefused) as refused:
        all_or_nothing(northfield, [row("Card 2", 5), bad])
    pointer = f"/readings/1/{column}".rstrip("/")
    assert (pointer, code) in [(each.pointer, each.code) for each in refused.value.errors]
    assert all(each.pointer.startswith("/readings/1") for each in refused.value.errors)
    assert all(each.detail.endswith(".") for each in refused.value.errors)
    assert nothing_stored(northfield)


def test_a_dry_run_names_what_is_bad_and_stores_nothing(northfield, anna):
    rows = [row("Card 1", 5), row("Card 2", -5), row("Card 3", 5)]
    with acting(anna):
        result = take(northfield, rows, dry_run=True)
    assert (result.stored, result.rounds, [(bad.row, bad.column, bad.value) for bad in result.bad]) == (
        2, 1, [(1, "count", "-5")],
    )  # fmt: skip
    assert nothing_stored(northfield)


def test_a_table_stores_its_good_rows(northfield, anna):
    rows = [row("Card 1", 5), row("Card 2", -5), row("Card 3", 5)]
    with acting(anna):
        result = take(northfield, rows, source="program")
        assert (result.stored, len(result.bad)) == (2, 1)
        assert Round.objects.get().source == "program"
    assert chain_holds(northfield)


def test_a_hundred_bad_cells_are_named_and_the_rest_counted(northfield, anna):
    rows = [row("Card 1", -1) for _ in range(250)]
    with acting(anna):
        result = take(northfield, rows, dry_run=True)
        with pytest.raises(TableRefused) as refused:
            all_or_nothing(northfield, rows)
    assert (len(result.bad), result.more_bad, result.refused) == (100, 150, 250)
    assert (len(refused.value.errors), refused.value.details["more"]) == (100, 150)
    assert "250 of the values can't be right" in str(refused.value)


def test_fifty_thousand_rows_are_the_most(northfield, anna):
    with acting(anna), pytest.raises(TooManyRows):
        take(northfield, [row("Card 1", 1)] * 50_001)


def test_an_empty_table_stores_nothing(northfield, anna):
    with acting(anna):
        assert take(northfield, []).stored == 0
    assert nothing_stored(northfield)


def test_carla_brings_nothing_to_northfield(northfield, carla):
    with acting(carla), pytest.raises(Missing):
        take(northfield, [row("Card 1", 1)])
    assert nothing_stored(northfield)


def test_a_table_and_rounds_give_the_same_summary(northfield, southmead, anna, carla, cards):
    chance = random.Random(9)  # noqa: S311 - made-up counts, no secrets
    counts = {(number, week): chance.randrange(300) for number in range(1, 6) for week in range(6)}
    first = date(2026, 4, 13)
    with acting(anna):
        rows = [
            row(f"Card {number}", count, str(first + week * 7 * DAY), str(first + (week + 1) * 7 * DAY))
            for (number, week), count in counts.items()
        ]
        take(northfield, rows)
        by_table = list(WeeklySummary.objects.order_by("week").values_list("week", "mean", "devices", "days"))
    with acting(carla):
        theirs = stations_of(southmead)
        for week in range(6):
            day = first + week * 7 * DAY
            hang(southmead, theirs, on=day)
            send(southmead, *(reading(card, counts[card.number, week]) for card in theirs), on=day + 7 * DAY)
        by_rounds = list(WeeklySummary.objects.order_by("week").values_list("week", "mean", "devices", "days"))
    assert by_table == by_rounds
    assert len(by_table) == 6


def test_a_table_takes_few_queries_however_long(northfield, anna, django_assert_max_num_queries):
    with acting(anna), django_assert_max_num_queries(24):
        take(northfield, every_kind())


def test_a_table_of_cards_that_hang_brings_no_placement_into_the_chain(northfield, anna, cards):
    with acting(anna):
        hang(northfield, cards)
        take(northfield, [row("Card 1", 5), row("Card 2", 6)])
        assert LedgerEntry.objects.get(kind="import").rows == 3
    assert chain_holds(northfield)
