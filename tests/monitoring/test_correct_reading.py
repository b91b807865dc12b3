"""Corrections: a later row with a reason; what it means for the card that hangs or hangs no more."""

from datetime import date, timedelta

import pytest

from farms.errors import Missing
from farms.ids import uuid7
from monitoring.errors import AlreadyCorrected, AlreadyRead, AlreadyWithdrawn, ReadingDiffers, ReadingRefused
from monitoring.models import Placement, Reading, WeeklySummary
from monitoring.services import HungSent, correct_reading
from tests.cast import NOW, acting
from tests.monitoring.sending import HUNG, STAFF, TODAY, chain_holds, hang, reading, send

pytestmark = pytest.mark.django_db
LATER = NOW + timedelta(days=7)


@pytest.fixture
def one(northfield, anna, cards):
    """Card 1 read on June 1 with 80 specks, nothing fresh hung."""
    with acting(anna):
        hang(northfield, cards)
        send(northfield, reading(cards[0], 80))
        return Reading.objects.get()


def correct(farm, original, new, kind="miscounted", now=NOW):
    return correct_reading(farm=farm, reading_id=original.id, correction=new, kind=kind, actor=STAFF, now=now)


def test_a_correction_is_a_row_with_a_reason_and_the_first_one_stays(northfield, anna, cards, one):
    with acting(anna):
        new = correct(northfield, one, reading(cards[0], 118))
        assert (new.count, new.corrects_id, new.correction_kind) == (118, one.id, "miscounted")
        assert (new.placement_id, new.hung_on, new.taken_on) == (one.placement_id, HUNG, TODAY)
        assert Reading.objects.get(id=one.id).count == 80
        assert [row.id for row in Reading.objects.current()] == [new.id]
        assert WeeklySummary.objects.get().mean == 118
    assert chain_holds(northfield)


def test_a_correction_sent_twice_is_stored_once(northfield, anna, cards, one):
    with acting(anna):
        sent = reading(cards[0], 118)
        assert correct(northfield, one, sent).id == correct(northfield, one, sent).id
        assert Reading.objects.count() == 2
        other = reading(cards[0], 119)
        with pytest.raises(ReadingDiffers):
            correct(northfield, one, type(sent)(sent.id, sent.station_id, count=119))
        with pytest.raises(AlreadyCorrected) as refused:
            correct(northfield, one, other)
    assert refused.value.details["by"] == str(sent.id)


def test_a_correction_can_be_corrected(northfield, anna, cards, one):
    with acting(anna):
        second = correct(northfield, one, reading(cards[0], 118))
        third = correct(northfield, second, reading(cards[0], 81))
        assert [row.count for row in Reading.objects.current()] == [81]
        assert third.placement_id == one.placement_id
        assert Placement.objects.filter(station_id=cards[0].id).count() == 1


def test_a_correction_needs_a_reason_we_know(northfield, anna, cards, one):
    with acting(anna), pytest.raises(ReadingRefused) as refused:
        correct(northfield, one, reading(cards[0], 118), kind="because")
    assert (refused.value.errors[0].pointer, refused.value.errors[0].code) == ("/kind", "kind_unknown")


def test_a_correction_obeys_the_rules_with_pointers_of_its_own(northfield, anna, cards, one):
    with acting(anna), pytest.raises(ReadingRefused) as refused:
        correct(northfield, one, reading(cards[0], -3))
    assert (refused.value.errors[0].pointer, refused.value.errors[0].code) == ("/count", "count_negative")
    with acting(anna):
        assert Reading.objects.count() == 1


def test_there_is_nothing_to_correct_on_another_farm(northfield, southmead, carla, cards, one):
    with acting(carla), pytest.raises(Missing):
        correct(northfield, one, reading(cards[0], 1))
    with acting(carla), pytest.raises(Missing):
        correct(southmead, one, reading(cards[0], 1))


def test_a_wrong_day_of_hanging_is_corrected_in_the_reading(northfield, anna, cards, one):
    with acting(anna):
        new = correct(northfield, one, reading(cards[0], 80, hung_on=date(2026, 5, 27)), kind="wrong_date")
        assert (new.hung_on, new.placement_id) == (date(2026, 5, 27), one.placement_id)
        # 80 specks in 5 days are 112 in 7.
        assert WeeklySummary.objects.get(stations=1).mean == pytest.approx(112)


def test_a_reading_moved_to_another_week_dates_the_change_of_both(northfield, anna, cards, one):
    with acting(anna):
        correct(northfield, one, reading(cards[0], 80, taken_on=date(2026, 5, 27)), kind="wrong_date", now=LATER)
        correct_to = Reading.objects.current().get()
        assert correct_to.taken_on == date(2026, 5, 27)
        assert WeeklySummary.objects.get(week=date(2026, 5, 25)).last_received_at == LATER


def test_a_reading_corrected_out_of_its_week_leaves_an_empty_summary(northfield, anna, cards):
    with acting(anna):
        hang(northfield, cards[:1], on=date(2026, 5, 11))
        send(northfield, reading(cards[0], 80), on=TODAY)
        wrong = Reading.objects.get()
        correct(northfield, wrong, reading(cards[0], 80, taken_on=date(2026, 5, 18)), kind="wrong_date", now=LATER)
        left = WeeklySummary.objects.get(week=date(2026, 5, 18))
        assert (left.stations, left.devices, left.counted, left.mean, left.days) == (0, 0, None, None, 0)
        assert left.last_received_at == LATER
        assert WeeklySummary.objects.get(week=date(2026, 5, 11)).mean == 80


def test_a_withdrawn_reading_says_nothing_and_the_card_hangs_again(northfield, anna, cards, one):
    with acting(anna):
        gone = correct(northfield, one, reading(cards[0]), kind="withdrawn")
        assert (gone.count, gone.reason, gone.placement_id) == (None, "", None)
        assert not Reading.objects.current().exists()
        summary = WeeklySummary.objects.get()
        assert (summary.stations, summary.missing, summary.mean) == (0, 0, None)
        again = send(northfield, reading(cards[0], 90), on=TODAY, now=LATER)
        row = Reading.objects.get(round_id=again.id)
        assert (row.count, row.hung_on) == (90, HUNG)
        with pytest.raises(AlreadyWithdrawn):
            correct(northfield, gone, reading(cards[0], 1))
    assert chain_holds(northfield)


def test_a_withdrawn_reading_hangs_nothing_where_a_fresh_card_hangs(northfield, anna, cards):
    with acting(anna):
        hang(northfield, cards[:1])
        send(northfield, reading(cards[0], 80), hung=(HungSent(uuid7(), cards[0].id, TODAY),))
        correct(northfield, Reading.objects.get(), reading(cards[0]), kind="withdrawn")
        assert Placement.objects.count() == 2


def test_a_reading_of_the_wrong_station_goes_to_the_right_one(northfield, anna, cards, one):
    with acting(anna):
        moved = correct(northfield, one, reading(cards[1], 80), kind="wrong_station")
        assert moved.placement_id == Placement.objects.get(station_id=cards[1].id).id
        # Card 1 hangs still, and can be read.
        later = send(northfield, reading(cards[0], 60), on=TODAY + timedelta(days=1), now=LATER)
        assert Reading.objects.get(round_id=later.id).hung_on == HUNG
        # Card 2 is down: somebody else's other count is a conflict with the moved one.
        with pytest.raises(AlreadyRead) as refused:
            send(northfield, reading(cards[1], 20))
    assert refused.value.details["reading"]["id"] == str(moved.id)
    assert chain_holds(northfield)


def test_a_correction_onto_a_card_that_was_read_is_a_conflict(northfield, anna, cards, one):
    with acting(anna):
        send(northfield, reading(cards[1], 20))
        with pytest.raises(AlreadyRead):
            correct(northfield, one, reading(cards[1], 80), kind="wrong_station")


def test_a_card_counted_by_mistake_was_not_visited_and_is_read_later(northfield, anna, cards, one):
    with acting(anna):
        correct(northfield, one, reading(cards[0], reason="not_visited"))
        later = send(northfield, reading(cards[0], 60), on=TODAY + timedelta(days=7), now=LATER)
        row = Reading.objects.get(round_id=later.id)
        assert (row.count, row.hung_on) == (60, HUNG)


def test_a_card_not_visited_was_counted_after_all(northfield, anna, cards):
    with acting(anna):
        hang(northfield, cards[:1])
        send(northfield, reading(cards[0], reason="not_visited"))
        left = Reading.objects.get()
        new = correct(northfield, left, reading(cards[0], 44))
        assert (new.count, new.placement_id) == (44, left.placement_id)
        # Taken down by the correction: another count of it is a conflict.
        with pytest.raises(AlreadyRead):
            send(northfield, reading(cards[0], 45, placement_id=left.placement_id))


def test_legs_are_corrected_too(northfield, anna, leg_station):
    with acting(anna):
        send(northfield, reading(leg_station, animals=[3, 4]))
        new = correct(northfield, Reading.objects.get(), reading(leg_station, animals=[3, 4], sprayed=True))
        assert (new.animals, new.sprayed) == ([3, 4], True)
        assert Reading.objects.current().count() == 1
