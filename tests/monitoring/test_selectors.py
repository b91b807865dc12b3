"""What pages read: the sheet of a round, its result, what is due, and a farm's records."""

from datetime import date, timedelta

import pytest

from farms.ids import uuid7
from farms.models import Season
from monitoring.models import Placement, Reading
from monitoring.selectors import (
    farms_received_since,
    last_done,
    last_round,
    next_round_due,
    readings_of,
    readings_of_round,
    round_result,
    round_sheet,
    rounds_of,
    stations_of,
    summaries_of,
    works_of,
)  # fmt: skip
from monitoring.services import (
    HungSent,
    SitingData,
    WorkDone,
    correct_reading,
    record_work,
    resite_station,
    skip_round,
)  # fmt: skip
from tests.cast import NOW, SEASON_OPENS, acting, as_factory, as_role
from tests.monitoring.sending import HUNG, STAFF, TODAY, hang, reading, season, send

pytestmark = pytest.mark.django_db
DAY = timedelta(days=1)


def test_stations_come_in_walking_order_with_how_they_stand(northfield, anna, cards, django_assert_num_queries):
    with acting(anna):
        resite_station(farm=northfield, station=cards[0], siting=SitingData(windy=True, position=9), since=TODAY)
        with django_assert_num_queries(2):
            found = stations_of(northfield)
            assert [each.facility.name for each in found][::5] == ["Calf barn", "Free-stall barn"]
        assert [each.label for each in found] == [
            "Card 2", "Card 3", "Card 4", "Card 5", "Card 1", "Trap 1", "Trap 2", "Leg count 1",
        ]  # fmt: skip
        assert found[4].siting.windy
        assert not next(each for each in stations_of(northfield, HUNG) if each.number == 1).siting.windy
        assert stations_of(northfield, date(2026, 1, 1)) == []


def test_a_sheet_lists_what_hangs_and_for_how_long(northfield, anna, cards):
    with acting(anna):
        hang(northfield, cards[:3])
        fresh = HungSent(uuid7(), cards[0].id, TODAY)
        send(northfield, reading(cards[0], 7), reading(cards[1], reason="not_visited"), hung=(fresh,))
        sheet = {place.station.label: place.hangings for place in round_sheet(northfield, TODAY + 7 * DAY)}
    assert [(each.placement.id, each.days) for each in sheet["Card 1"]] == [(fresh.id, 7)]
    assert [each.days for each in sheet["Card 2"]] == [14]
    assert [each.days for each in sheet["Card 3"]] == [14]
    assert sheet["Card 4"] == ()
    assert sheet["Leg count 1"] == ()


def test_what_was_taken_down_by_a_correction_hangs_no_more(northfield, anna, cards):
    with acting(anna):
        hang(northfield, cards[:1])
        send(northfield, reading(cards[0], reason="not_visited"))
        correct_reading(
            farm=northfield, reading_id=Reading.objects.get().id, correction=reading(cards[0], 44), kind="mistyped",
            actor=STAFF, now=NOW,
        )  # fmt: skip
        assert round_sheet(northfield, TODAY)[0].hangings == ()


def test_a_card_forgotten_for_more_than_sixty_days_is_no_longer_listed(northfield, anna, cards):
    with acting(anna):
        hang(northfield, cards[:1], on=SEASON_OPENS)
        assert len(round_sheet(northfield, SEASON_OPENS + 60 * DAY)[0].hangings) == 1
        assert round_sheet(northfield, SEASON_OPENS + 61 * DAY)[0].hangings == ()


def result_of(farm, walked, *level_of):
    return round_result(farm, list(readings_of_round(farm, walked.id)), *level_of)


def test_a_rounds_result_is_told_by_facility_with_one_place_to_look(northfield, anna, cards, traps):
    with acting(anna):
        resite_station(farm=northfield, station=cards[3], siting=SitingData(near="milk"), since=HUNG)
        hang(northfield, [*cards, *traps])
        counts = zip(cards, (10, 20, 30, 440), strict=False)
        walked = send(
            northfield, *(reading(card, count) for card, count in counts), reading(cards[4], reason="lost"),
            reading(traps[0], 250), reading(traps[1], 250),
        )  # fmt: skip
        barn, stalls = result_of(northfield, walked, lambda method, facility: 100 if method == "card" else 250)
    assert (barn.facility.name, barn.method.code, barn.mean) == ("Calf barn", "card", 125)
    assert (barn.devices, barn.missing, barn.level, barn.word) == (4, 1, 100, "over")
    assert (barn.place.station.label, barn.place.share) == ("Card 4", 0.88)
    assert barn.place.question == "may_only_rest_here"
    # 250 flies are not more than 250; two equal traps: nowhere in particular to look.
    assert (stalls.mean, stalls.word, stalls.place) == (250, "near", None)


def test_a_facility_of_which_nothing_was_counted_has_no_mean(northfield, anna, cards):
    with acting(anna):
        hang(northfield, cards)
        walked = send(northfield, *(reading(card, reason="wet") for card in cards))
        (barn,) = result_of(northfield, walked)
        assert (barn.mean, barn.word, barn.missing, barn.place) == (None, "none", 5, None)
        assert result_of(northfield, hang(northfield, cards, on=TODAY)) == []


def test_the_next_round_is_due_seven_days_after_the_last(northfield, anna, cards):
    with acting(anna):
        assert next_round_due(northfield, TODAY) == SEASON_OPENS + 7 * DAY
        hang(northfield, cards)
        assert next_round_due(northfield, HUNG) == date(2026, 6, 1)
        send(northfield, reading(cards[0], 7))
        assert next_round_due(northfield, TODAY) == date(2026, 6, 8)
        assert last_round(northfield).walked_on == TODAY
        assert last_round(northfield, HUNG).walked_on == HUNG


def test_a_skip_moves_what_is_due_until_a_round_follows(northfield, anna, cards):
    with acting(anna):
        hang(northfield, cards)
        later = date(2026, 6, 15)
        skip_round(farm=northfield, skipped_on=TODAY, next_round_on=later, actor=STAFF, now=NOW)
        assert next_round_due(northfield, TODAY) == later
        after = NOW + timedelta(days=3)
        send(northfield, reading(cards[0], 7), on=TODAY + 3 * DAY, now=after)
        assert next_round_due(northfield, TODAY + 3 * DAY) == TODAY + 10 * DAY


def test_nothing_is_due_out_of_season(northfield, anna, cards):
    with acting(anna):
        hang(northfield, cards)
    with as_factory():
        Season.objects.filter(farm_id=northfield.id).update(closes_on=HUNG)
    with acting(anna):
        assert next_round_due(northfield, TODAY) is None


def test_records_are_read_newest_first(northfield, anna, cards, calf_barn):
    with acting(anna):
        season(northfield, cards[0], [1, 2, 3])
        assert [row.count for row in readings_of(northfield)] == [3, 2, 1]
        assert [row.walked_on.day for row in rounds_of(northfield)] == [4, 27, 20, 13]
        assert [row.mean for row in summaries_of(northfield, "card", date(2026, 4, 22))] == [2, 3]
        assert summaries_of(northfield).count() == 3
        assert not summaries_of(northfield, method="trap").exists()
        record_work(farm=northfield, work=WorkDone("fans", HUNG), actor=STAFF, now=NOW)
        record_work(farm=northfield, work=WorkDone("clean_out", TODAY, calf_barn, thorough=True), actor=STAFF, now=NOW)
        assert [work.kind for work in works_of(northfield)] == ["clean_out", "fans"]
        assert [work.kind for work in works_of(northfield, TODAY)] == ["clean_out"]
    with as_role("worker"):
        assert last_done([northfield.id], TODAY)[northfield.id].facility.name == "Calf barn"
        assert last_done([northfield.id], HUNG)[northfield.id].label == "fans"
        assert last_done([northfield.id], date(2026, 1, 1)) == {}


def test_farms_whose_week_changed_are_found(northfield, southmead, anna, cards):
    with acting(anna):
        hang(northfield, cards)
        send(northfield, reading(cards[0], 7))
    with as_role("worker"):
        assert farms_received_since(northfield.group_id, HUNG, NOW) == {northfield.id}
        assert farms_received_since(northfield.group_id, HUNG, NOW + timedelta(seconds=1)) == set()
        assert farms_received_since(northfield.group_id, TODAY, NOW) == set()


def test_carla_reads_nothing_of_northfield(northfield, anna, carla, cards):
    with acting(anna):
        hang(northfield, cards)
        walked = send(northfield, reading(cards[0], 7))
        assert Placement.objects.exists()
    with acting(carla):
        assert round_sheet(northfield, TODAY) == []
        assert result_of(northfield, walked) == []
        assert not readings_of(northfield).exists()
        assert not summaries_of(northfield).exists()
        assert next_round_due(northfield, TODAY) is None
