"""Recording rounds: what barns do, what two people do, and what is stored of it."""

from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from decimal import Decimal

import pytest
from django.db import ProgrammingError, connection, transaction

from farms.errors import Missing
from farms.ids import uuid7
from farms.models import Group, LedgerEntry, Season
from farms.models.access import TokenScope
from farms.services import add_person, make_token
from monitoring.errors import AlreadyRead, ReadingDiffers, RoundDiffers
from monitoring.models import Note, Placement, Reading, Round, Station
from monitoring.services import HungSent, NoteSent, RoundSent, record_round
from tests.cast import NOW, acting, acting_token, as_factory
from tests.monitoring.sending import (
    HUNG,
    STAFF,
    TODAY,
    chain_holds,
    hang,
    nothing_stored,
    reading,
    season,
    send,
    stored,
)  # fmt: skip

pytestmark = pytest.mark.django_db


def test_the_first_visit_only_hangs(northfield, anna, cards):
    with acting(anna):
        first = hang(northfield, cards)
        assert Placement.objects.count() == 5
        assert Reading.objects.count() == 0
        assert first.walked_on == HUNG
    assert chain_holds(northfield)


def test_a_round_is_stored_with_its_exposure_and_one_chain_entry(northfield, anna, cards):
    with acting(anna):
        hang(northfield, cards)
        send(northfield, *(reading(card, 40 + card.number) for card in cards))
    rows = stored(northfield)
    assert [row.count for row in rows] == [41, 42, 43, 44, 45]
    assert {(row.hung_on, row.taken_on, row.zone, row.method) for row in rows} == {
        (HUNG, TODAY, "America/Chicago", "card")
    }
    with as_factory():
        entries = list(LedgerEntry.objects.filter(farm_id=northfield.id, kind="round").order_by("number"))
    assert [entry.rows for entry in entries] == [6, 6]
    assert {row.entry for row in rows} == {entries[1].number}
    assert chain_holds(northfield)


def test_the_same_round_sent_five_times_is_stored_once(northfield, anna, cards):
    with acting(anna):
        hang(northfield, cards)
        sent = RoundSent(
            uuid7(), TODAY, "phone", readings=tuple(reading(card, 7) for card in cards),
            hung=tuple(HungSent(uuid7(), card.id, TODAY) for card in cards), notes=(NoteSent(uuid7(), "dusty"),),
        )  # fmt: skip
        rounds = [record_round(farm=northfield, sent=sent, actor=STAFF, now=NOW) for _ in range(5)]
        assert {each.id for each in rounds} == {sent.id}
        assert Reading.objects.count() == 5
        assert Placement.objects.count() == 10
        assert Note.objects.count() == 1
        assert LedgerEntry.objects.filter(kind="round").count() == 2


def test_half_a_round_is_finished_the_next_day(northfield, anna, cards):
    with acting(anna):
        hang(northfield, cards)
        half = send(northfield, *(reading(card, 7) for card in cards[:2]), on=date(2026, 5, 31))
        rest = [reading(card, 9, taken_on=TODAY) for card in cards[2:]]
        whole = send(northfield, *rest, on=date(2026, 5, 31), id=half.id)
        assert whole.id == half.id
        assert Round.objects.count() == 2
        assert [row.taken_on.day for row in Reading.objects.order_by("received_at", "id")] == [31, 31, 1, 1, 1]
    assert chain_holds(northfield)


def test_readings_are_append_only(northfield, anna, cards):
    with acting(anna):
        hang(northfield, cards)
        send(northfield, reading(cards[0], 7))
        with pytest.raises(ProgrammingError, match="permission denied"), transaction.atomic():
            Reading.objects.update(count=8)
        with pytest.raises(ProgrammingError, match="permission denied"), transaction.atomic():
            Reading.objects.all().delete()


def test_a_known_reading_with_another_count_is_refused_and_nothing_is_stored(northfield, anna, cards):
    with acting(anna):
        hang(northfield, cards)
        first = reading(cards[0], 7)
        send(northfield, first)
        with pytest.raises(ReadingDiffers) as refused:
            send(northfield, replace(first, count=8), reading(cards[1], 9))
        assert Reading.objects.count() == 1
    assert refused.value.errors[0].pointer == "/readings/0"
    assert "Card 1" in str(refused.value)


def test_a_known_round_on_another_day_is_refused(northfield, anna, cards):
    with acting(anna):
        first = hang(northfield, cards)
        with pytest.raises(RoundDiffers) as refused:
            send(northfield, on=TODAY, id=first.id)
    assert refused.value.errors[0].pointer == "/walked_on"


def test_a_second_person_who_counted_the_same_is_answered_as_stored(northfield, anna, ben, cards):
    with acting(anna):
        hang(northfield, cards)
        send(northfield, *(reading(card, 7) for card in cards))
    with acting(ben):
        again = send(northfield, *(reading(card, 7) for card in cards))
        assert Reading.objects.count() == 5
        assert Round.objects.filter(id=again.id).exists()


def test_a_second_person_who_counted_otherwise_is_told_of_the_first_reading(northfield, anna, ben, cards):
    with acting(anna):
        hang(northfield, cards)
        send(northfield, *(reading(card, 7) for card in cards[:2]))
    with acting(ben):
        with pytest.raises(AlreadyRead) as refused:
            send(northfield, reading(cards[0], 7), reading(cards[1], 8), reading(cards[2], 9))
        assert Reading.objects.count() == 2
    assert refused.value.errors[0].pointer == "/readings/1"
    first = refused.value.details["reading"]
    assert (first["count"], first["label"], first["taken_on"]) == (7, "Card 2", "2026-06-01")
    assert first["id"] == str(stored(northfield)[1].id)
    assert "Card 2 was already taken down on June 1, 2026" in str(refused.value)


def test_what_a_second_person_adds_is_stored(northfield, anna, ben, cards):
    with acting(anna):
        hang(northfield, cards)
        not_mine = [reading(card, reason="not_visited") for card in cards[2:]]
        send(northfield, *(reading(card, 7) for card in cards[:2]), *not_mine)
    with acting(ben):
        not_his = [reading(card, reason="not_visited") for card in cards[:2]]
        send(northfield, *not_his, *(reading(card, 9) for card in cards[2:]))
        assert sorted(row.count for row in Reading.objects.counted()) == [7, 7, 9, 9, 9]
        # Who didn't get to a card that somebody else read says nothing against it.
        assert Reading.objects.filter(reason="not_visited").count() == 3


def test_two_people_hang_one_card_and_not_two(northfield, anna, ben, cards):
    with acting(anna):
        hang(northfield, cards)
    with acting(ben):
        hang(northfield, cards)
        assert Placement.objects.count() == 5


def test_two_cards_at_one_station_are_named_by_their_placement(northfield, anna, cards):
    first, second = HungSent(uuid7(), cards[0].id, HUNG), HungSent(uuid7(), cards[0].id, HUNG)
    with acting(anna):
        record_round(farm=northfield, sent=RoundSent(uuid7(), HUNG, "form", hung=(first, second)), actor=STAFF, now=NOW)
        assert Placement.objects.count() == 2
        with pytest.raises(Exception, match="can't be right") as refused:
            send(northfield, reading(cards[0], 7))
        assert refused.value.errors[0].code == "which_placement"
        send(northfield, reading(cards[0], 7, placement_id=first.id), reading(cards[0], 9, placement_id=second.id))
        assert {row.placement_id: row.count for row in Reading.objects.all()} == {first.id: 7, second.id: 9}


def test_two_cards_hung_on_one_day_are_read_one_after_the_other(northfield, anna, cards):
    with acting(anna):
        send(northfield, reading(cards[0], 7, hung_on=HUNG), reading(cards[0], 7, hung_on=HUNG))
        assert Reading.objects.values("placement_id").distinct().count() == 2


def test_a_moved_card_is_a_new_placement_and_the_old_stations_history_stays(northfield, anna, cards):
    with acting(anna):
        hang(northfield, cards[:1])
        moved = HungSent(uuid7(), cards[1].id, TODAY)
        send(northfield, reading(cards[0], 80), hung=(moved,))
        later = send(northfield, reading(cards[1], 20), on=TODAY + timedelta(days=7), now=NOW + timedelta(days=7))
        assert Reading.objects.get(station_id=cards[0].id).count == 80
        assert Reading.objects.get(round_id=later.id).placement_id == moved.id


def test_a_card_never_noted_as_hung_is_placed_by_its_day(northfield, anna, cards):
    with acting(anna):
        send(northfield, reading(cards[0], 80, hung_on=date(2026, 5, 27)), source="paper")
        row = Reading.objects.get()
        assert (row.hung_on, row.taken_on) == (date(2026, 5, 27), TODAY)
        assert Placement.objects.get(id=row.placement_id).hung_on == date(2026, 5, 27)


def test_a_card_that_was_not_visited_stays_up_and_is_read_later(northfield, anna, cards):
    with acting(anna):
        hang(northfield, cards[:1])
        send(northfield, reading(cards[0], reason="not_visited"))
        send(northfield, reading(cards[0], 150), on=TODAY + timedelta(days=7), now=NOW + timedelta(days=7))
        rows = stored(northfield)
    assert [(row.count, row.hung_on) for row in rows] == [(None, HUNG), (150, HUNG)]
    assert rows[0].placement_id == rows[1].placement_id


def test_a_lost_card_has_a_reason_and_no_count(northfield, anna, cards):
    with acting(anna):
        hang(northfield, cards[:1])
        send(northfield, reading(cards[0], reason="lost"))
        row = Reading.objects.get()
    assert (row.count, row.reason) == (None, "lost")


def test_a_quarter_of_a_card_is_stored_as_it_was_counted(northfield, anna, cards):
    with acting(anna):
        hang(northfield, cards[:1])
        send(northfield, reading(cards[0], 61, how="part", fraction=0.25))
        row = Reading.objects.get()
    assert (row.count, row.fraction, row.how) == (61, Decimal("0.2500"), "part")
    assert chain_holds(northfield)


def test_too_many_to_count_is_stored_as_at_least(northfield, anna, cards):
    with acting(anna):
        hang(northfield, cards[:1])
        send(northfield, reading(cards[0], 300, at_least=True))
        assert Reading.objects.get().at_least


def test_a_trap_is_measured_by_the_cup(northfield, anna, traps):
    with acting(anna):
        hang(northfield, traps[:1])
        send(northfield, reading(traps[0], 375, how="cup"))
        assert Reading.objects.get().how == "cup"


def test_a_leg_count_carries_its_animals_and_needs_no_sum(northfield, anna, leg_station):
    legs = {
        "animals": [3, 0, 5, 2], "pen": "Pen 4", "time_of_day": time(9, 30), "weather": "sunny", "bunching": True,
        "sprayed": False,
    }  # fmt: skip
    with acting(anna):
        send(northfield, reading(leg_station, **legs))
        row = Reading.objects.get()
    assert (row.count, row.animals, row.hung_on, row.placement_id) == (10, [3, 0, 5, 2], None, None)
    assert (row.pen, row.time_of_day, row.bunching, row.sprayed) == ("Pen 4", time(9, 30), True, False)
    assert chain_holds(northfield)


def test_the_same_legs_sent_by_two_people_are_stored_once(northfield, anna, ben, leg_station):
    with acting(anna):
        send(northfield, reading(leg_station, animals=(3, 0)))
    with acting(ben):
        send(northfield, reading(leg_station, animals=[3, 0]))
        send(northfield, reading(leg_station, animals=[3, 1]))
        assert sorted(row.animals for row in Reading.objects.all()) == [[3, 0], [3, 1]]


def test_the_group_decides_how_many_sides_of_a_card_are_counted(northfield, anna, cards, traps):
    Group.objects.filter(id=northfield.group_id).update(sides_counted=2)
    northfield.group.refresh_from_db()
    with acting(anna):
        hang(northfield, [cards[0], cards[1], traps[0]])
        send(northfield, reading(cards[0], 7), reading(cards[1], 7, sides=1), reading(traps[0], 7))
        assert [row.sides for row in Reading.objects.order_by("method", "id")] == [2, 1, 1]


def test_counted_by_typed_by_counted_on_and_typed_on_are_four_fields(northfield, anna, cards):
    with acting(anna):
        hang(northfield, cards)
        lee = add_person(farm=northfield, name="Lee", initials="L", now=NOW)
        kim = add_person(farm=northfield, name="Kim", initials="K", now=NOW)
        typed = send(
            northfield, reading(cards[0], 7), on=date(2026, 5, 30), source="paper", counted_by=lee.id, typed_by=kim.id,
            typed_on=TODAY, observed_at=datetime(2026, 5, 30, 9, tzinfo=UTC),
        )  # fmt: skip
    assert (typed.counted_by, typed.typed_by) == (lee.id, kim.id)
    assert (typed.walked_on, typed.typed_on) == (date(2026, 5, 30), TODAY)


def test_a_note_is_chained_by_a_salted_hash_and_can_be_erased(northfield, anna, cards):
    with acting(anna):
        hang(northfield, cards)
        one = reading(cards[0], 7)
        send(northfield, one, notes=(NoteSent(uuid7(), " Ask Lee about the fan. ", one.id),))
        note = Note.objects.get()
    assert (note.text, note.reading_id) == ("Ask Lee about the fan.", one.id)
    assert chain_holds(northfield)


def test_a_note_on_a_reading_that_was_known_goes_to_the_stored_one(northfield, anna, ben, cards):
    with acting(anna):
        hang(northfield, cards)
        send(northfield, reading(cards[0], 7))
    with acting(ben):
        again = reading(cards[0], 7)
        send(northfield, again, notes=(NoteSent(uuid7(), "wet corner", again.id),))
        assert Note.objects.get().reading_id == stored(northfield)[0].id


def test_the_day_is_the_farms_own(northfield, anna, cards):
    # 03:00 UTC on June 2 is still June 1 in Chicago.
    late = datetime(2026, 6, 2, 3, tzinfo=UTC)
    with acting(anna):
        hang(northfield, cards)
        send(northfield, reading(cards[0], 7), on=TODAY, now=late)
        with pytest.raises(Exception, match="can't be right") as refused:
            send(northfield, reading(cards[1], 7), on=date(2026, 6, 2), now=late)
    assert refused.value.errors[0].code == "future_date"


def test_a_whole_season_keeps_its_chain(northfield, anna, cards):
    with acting(anna):
        season(northfield, cards[0], [10, None, 30, 40, 0, 60])
    assert len(stored(northfield)) == 6
    assert chain_holds(northfield)


def test_carla_writes_nothing_on_northfield(northfield, carla, cards):
    with acting(carla), pytest.raises(Missing):
        hang(northfield, cards)
    assert nothing_stored(northfield)


def test_a_reader_token_writes_nothing(northfield, anna, cards):
    with acting(anna):
        now = datetime.now(UTC)
        token, _ = make_token(
            farm=northfield, name="reads", scope=TokenScope.READ, by=anna, expires_at=now + timedelta(days=9), now=now
        )
    with acting_token(token), pytest.raises(Missing):
        hang(northfield, cards)
    assert nothing_stored(northfield)


def test_readings_of_two_farms_may_have_the_same_ids(northfield, southmead, anna, carla, cards):
    shared, round_id = uuid7(), uuid7()
    with acting(anna):
        hang(northfield, cards[:1])
        send(northfield, replace(reading(cards[0], 7), id=shared), id=round_id)
    with acting(carla):
        card = Station.objects.filter(farm_id=southmead.id).order_by("number").first()
        hang(southmead, [card])
        send(southmead, replace(reading(card, 99), id=shared), id=round_id)
        assert Reading.objects.get().count == 99
    assert stored(northfield)[0].count == 7


def test_a_round_takes_few_queries(northfield, anna, cards, django_assert_max_num_queries):
    with acting(anna):
        hang(northfield, cards)
        with django_assert_max_num_queries(24):
            send(northfield, *(reading(card, 7) for card in cards))


def test_a_season_may_close_and_open_again(northfield, anna, cards):
    with as_factory():
        Season.objects.filter(farm_id=northfield.id).update(closes_on=date(2026, 5, 20))
        Season.objects.create(farm_id=northfield.id, opens_on=date(2026, 5, 28))
    with acting(anna):
        send(northfield, reading(cards[0], 7, hung_on=HUNG))
        assert connection.in_atomic_block and Reading.objects.count() == 1
