"""What a round may not hold: every fault is named with a pointer, a code and a sentence, and nothing is stored."""

from datetime import date, datetime, timedelta
from decimal import Decimal

import pytest

from farms.ids import uuid7
from farms.models import Season
from monitoring.errors import ReadingRefused, RoundDiffers
from monitoring.models import Placement, Reading, Station
from monitoring.services import HungSent, NoteSent, ReadingSent
from tests.cast import NOW, acting, as_factory
from tests.monitoring.sending import HUNG, TODAY, hang, nothing_stored, reading, send, stored

pytestmark = pytest.mark.django_db
DAY = timedelta(days=1)

CARD_FAULTS = [
    ({"count": "7"}, "count", "not_a_number"),
    ({"count": 7.0}, "count", "not_a_number"),
    ({"count": True}, "count", "not_a_number"),
    ({"count": -1}, "count", "count_negative"),
    ({"count": 1_000_001}, "count", "count_too_large"),
    ({"count": 10**40}, "count", "count_too_large"),
    ({}, "count", "count_missing"),
    ({"count": 7, "reason": "lost"}, "count", "count_beside_reason"),
    ({"reason": "eaten"}, "reason", "reason_unknown"),
    ({"reason": "lost", "at_least": True}, "how", "how_without_count"),
    ({"reason": "lost", "how": "part"}, "how", "how_without_count"),
    ({"count": 7, "how": "guessed"}, "how", "how_unknown"),
    ({"count": 7, "how": "part"}, "fraction", "part_missing"),
    ({"count": 7, "fraction": 0.25}, "fraction", "part_not_said"),
    ({"count": 7, "how": "part", "fraction": 0}, "fraction", "part_out_of_range"),
    ({"count": 7, "how": "part", "fraction": 1.5}, "fraction", "part_out_of_range"),
    ({"count": 7, "how": "part", "fraction": Decimal("1e400")}, "fraction", "part_out_of_range"),
    ({"count": 7, "how": "part", "fraction": float("nan")}, "fraction", "not_a_number"),
    ({"count": 7, "how": "cup"}, "how", "cup_only_of_traps"),
    ({"count": 7, "animals": [3, 4]}, "animals", "animals_only_on_legs"),
    ({"count": 7, "sides": 3}, "sides", "sides_out_of_range"),
    ({"count": 7, "at_least": "yes"}, "at_least", "not_yes_or_no"),
    ({"count": 7, "pen": "x" * 61}, "pen", "text_too_long"),
    ({"count": 7, "pen": "x\x00y"}, "pen", "not_text"),
    ({"count": 7, "time_of_day": "9 o'clock"}, "time_of_day", "not_a_time"),
    ({"count": 7, "hung_on": "June 1"}, "hung_on", "not_a_date"),
    ({"count": 7, "taken_on": datetime(2026, 6, 1)}, "taken_on", "not_a_date"),  # noqa: DTZ001 - wrong on purpose
    ({"count": 7, "taken_on": TODAY + DAY}, "taken_on", "future_date"),
    ({"count": 7, "taken_on": HUNG, "hung_on": HUNG}, "hung_on", "taken_before_hung"),
    ({"count": 7, "hung_on": TODAY - 61 * DAY}, "hung_on", "too_long_up"),
    ({"count": 7, "taken_on": date(2026, 4, 5), "hung_on": date(2026, 4, 1)}, "taken_on", "closed_season"),
    ({"count": 7, "placement_id": uuid7()}, "placement_id", "unknown_placement"),
]


@pytest.mark.parametrize(("values", "column", "code"), CARD_FAULTS)
def test_a_fault_of_a_card_is_named_and_nothing_is_stored(northfield, anna, cards, values, column, code):
    with acting(anna):
        hang(northfield, cards)
        with pytest.raises(ReadingRefused) as refused:
            send(northfield, reading(cards[1], 5), ReadingSent(uuid7(), cards[0].id, **values))
        assert Reading.objects.count() == 0
    found = [(each.pointer, each.code) for each in refused.value.errors]
    assert (f"/readings/1/{column}", code) in found
    assert all(each.detail.rstrip().endswith(".") for each in refused.value.errors)


def test_sixty_days_are_not_too_long(northfield, anna, cards):
    with acting(anna):
        with as_factory():
            Station.objects.filter(farm_id=northfield.id).update(since=date(2026, 1, 1))
        send(northfield, reading(cards[0], 7, hung_on=TODAY - 60 * DAY))
        assert Reading.objects.count() == 1


@pytest.mark.parametrize(
    ("values", "code"),
    [
        ({"count": 7}, "animals_missing"),
        ({"animals": []}, "animals_out_of_range"),
        ({"animals": [3, -1]}, "count_negative"),
        ({"animals": [3, "4"]}, "not_a_number"),
        ({"animals": 7}, "not_a_number"),
        ({"animals": [3, 4], "count": 8}, "animals_differ"),
        ({"animals": [3, 4], "reason": "not_visited"}, "count_beside_reason"),
        ({"animals": [3, 4], "hung_on": HUNG}, "legs_do_not_hang"),
        ({"animals": [3, 4], "how": "part", "fraction": 0.5}, "part_of_legs"),
        ({"animals": [1] * 501}, "animals_out_of_range"),
    ],
)
def test_a_fault_of_a_leg_count_is_named(northfield, anna, leg_station, values, code):
    with acting(anna), pytest.raises(ReadingRefused) as refused:
        send(northfield, reading(leg_station, **values))
    assert code in [each.code for each in refused.value.errors]
    assert nothing_stored(northfield)


def test_every_fault_is_named_at_once(northfield, anna, cards):
    with acting(anna), pytest.raises(ReadingRefused) as refused:
        send(northfield, reading(cards[0], -1), reading(cards[1], 3), reading(cards[2]), reading(cards[3], "many"))
    assert [each.pointer for each in refused.value.errors] == [
        "/readings/0/count", "/readings/1/hung_on", "/readings/2/count", "/readings/3/count",
    ]  # fmt: skip
    assert nothing_stored(northfield)


def test_the_sentence_names_the_card_and_says_what_to_do(northfield, anna, cards):
    with acting(anna), pytest.raises(ReadingRefused) as refused:
        send(northfield, reading(cards[3], 7, reason="lost", hung_on=HUNG))
    assert refused.value.errors[0].detail == ("Card 4 has a count and a reason why there is none. Keep one of the two.")


def test_a_strangers_station_is_unknown_here(northfield, southmead, anna, cards):
    with as_factory():
        foreign = Station.objects.filter(farm_id=southmead.id).first()
    with acting(anna), pytest.raises(ReadingRefused) as refused:
        send(northfield, reading(foreign, 7, hung_on=HUNG), hung=(HungSent(uuid7(), foreign.id, HUNG),))
    assert {each.code for each in refused.value.errors} == {"unknown_station"}
    assert nothing_stored(northfield)


def test_a_placement_of_another_station_is_refused(northfield, anna, cards):
    with acting(anna):
        hang(northfield, cards)
        other = Placement.objects.get(station_id=cards[1].id)
        with pytest.raises(ReadingRefused) as refused:
            send(northfield, reading(cards[0], 7, placement_id=other.id))
    assert refused.value.errors[0].code == "placement_elsewhere"


def test_one_card_read_twice_in_one_round_is_refused(northfield, anna, cards):
    with acting(anna):
        hang(northfield, cards)
        one = Placement.objects.get(station_id=cards[0].id)
        with pytest.raises(ReadingRefused) as refused:
            send(northfield, reading(cards[0], 7, placement_id=one.id), reading(cards[0], 8, placement_id=one.id))
    assert refused.value.errors[0].code == "read_twice"
    same = reading(cards[0], 7)
    with acting(anna), pytest.raises(ReadingRefused) as refused:
        send(northfield, same, same)
    assert refused.value.errors[0].code == "sent_twice"


def test_a_closed_season_takes_no_round(northfield, anna, cards):
    with as_factory():
        Season.objects.filter(farm_id=northfield.id).update(closes_on=date(2026, 5, 30))
    with acting(anna):
        with pytest.raises(ReadingRefused) as refused:
            send(northfield, reading(cards[0], 7, hung_on=HUNG))
        assert (refused.value.errors[0].pointer, refused.value.errors[0].code) == ("/walked_on", "closed_season")
        # What was counted while it was open may still be typed.
        send(northfield, reading(cards[0], 7, hung_on=HUNG), on=date(2026, 5, 30))
    assert len(stored(northfield)) == 1


def test_a_round_still_to_come_is_refused(northfield, anna):
    with acting(anna), pytest.raises(ReadingRefused) as refused:
        send(northfield, on=TODAY + DAY)
    assert (refused.value.errors[0].pointer, refused.value.errors[0].code) == ("/walked_on", "future_date")


@pytest.mark.parametrize(
    ("values", "pointer", "code"),
    [
        ({"source": "telegram"}, "/source", "source_unknown"),
        ({"counted_by": uuid7()}, "/counted_by", "unknown_person"),
        ({"typed_by": uuid7()}, "/typed_by", "unknown_person"),
        ({"typed_on": TODAY + DAY}, "/typed_on", "future_date"),
        ({"typed_on": "today"}, "/typed_on", "not_a_date"),
        ({"observed_at": datetime(2026, 6, 1)}, "/observed_at", "not_a_moment"),  # noqa: DTZ001 - likewise
        ({"notes": (NoteSent(uuid7(), " "),)}, "/notes/0/text", "note_empty"),
        ({"notes": (NoteSent(uuid7(), "a\x00b"),)}, "/notes/0/text", "not_text"),
        ({"notes": (NoteSent(uuid7(), "a" * 2001),)}, "/notes/0/text", "note_too_long"),
        ({"notes": (NoteSent(uuid7(), "a", uuid7()),)}, "/notes/0/reading_id", "unknown_reading"),
    ],
)
def test_a_fault_of_the_round_itself_is_named(northfield, anna, values, pointer, code):
    with acting(anna), pytest.raises(ReadingRefused) as refused:
        send(northfield, **values)
    assert (refused.value.errors[0].pointer, refused.value.errors[0].code) == (pointer, code)
    assert nothing_stored(northfield)


def test_what_can_not_have_been_hung_is_refused(northfield, anna, cards, leg_station):
    bad = [
        (HungSent(uuid7(), leg_station.id, HUNG), "/hung/0/station_id", "wrong_method"),
        (HungSent(uuid7(), uuid7(), HUNG), "/hung/0/station_id", "unknown_station"),
        (HungSent(uuid7(), cards[0].id, TODAY + DAY), "/hung/0/hung_on", "future_date"),
        (HungSent(uuid7(), cards[0].id, date(2026, 4, 1)), "/hung/0/hung_on", "station_not_in_use"),
        (HungSent(uuid7(), cards[0].id, "yesterday"), "/hung/0/hung_on", "not_a_date"),
    ]
    for hung, pointer, code in bad:
        with acting(anna), pytest.raises(ReadingRefused) as refused:
            send(northfield, hung=(hung,))
        assert (refused.value.errors[0].pointer, refused.value.errors[0].code) == (pointer, code)
    assert nothing_stored(northfield)


def test_a_known_placement_with_another_day_is_refused(northfield, anna, cards):
    with acting(anna):
        one = HungSent(uuid7(), cards[0].id, HUNG)
        send(northfield, hung=(one,), on=HUNG)
        with pytest.raises(RoundDiffers):
            send(northfield, hung=(HungSent(one.id, cards[0].id, HUNG + DAY),))


def test_a_station_that_is_not_in_use_takes_no_reading(northfield, anna, cards):
    with as_factory():
        Station.objects.filter(farm_id=northfield.id, id=cards[0].id).update(since=date(2026, 5, 30))
        Station.objects.filter(farm_id=northfield.id, id=cards[1].id).update(until=date(2026, 5, 30))
    with acting(anna), pytest.raises(ReadingRefused) as refused:
        send(northfield, reading(cards[0], 7, hung_on=HUNG), reading(cards[1], 7, hung_on=HUNG))
    assert [each.code for each in refused.value.errors] == ["station_not_yet", "station_no_longer"]


def test_more_than_two_thousand_readings_are_refused_before_anything_is_read(northfield, anna, cards):
    with acting(anna), pytest.raises(ReadingRefused) as refused:
        send(northfield, *(reading(cards[0], 1, hung_on=HUNG) for _ in range(2_001)), now=NOW)
    assert refused.value.errors[0].code == "too_many_readings"
