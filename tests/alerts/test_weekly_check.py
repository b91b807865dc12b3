"""A week of counts judged: facility by facility, then for the farm, by science.md's boundary cases."""

import pytest

from alerts.models import Assessment
from farms.models import Facility, Farm, Group, Region, Season, User
from monitoring.models import Station
from tests.alerts.scene import check, check_time, correct, count_week, monday, result
from tests.cast import as_factory, make_facility, make_farm, make_stations

pytestmark = pytest.mark.django_db
WEEK = monday(1)


# The three boundary cases are the trade's action guidelines as science.md, section 1, states them (common practice,
# printed in extension guides): more than 100 specks, more than 250 flies, at least 10 stable flies an animal.
def test_a_mean_of_exactly_100_specks_is_not_over_100(group: Group, northfield: Farm, cards: list[Station]):
    count_week(cards, WEEK, [80, 90, 100, 110, 120])
    check(group, WEEK)
    assert (result(northfield, WEEK).mean, result(northfield, WEEK).result) == (100.0, "near")


def test_a_mean_of_100_specks_and_a_fifth_is_over_100(group: Group, northfield: Farm, cards: list[Station]):
    count_week(cards, WEEK, [80, 90, 100, 110, 121])
    check(group, WEEK)
    assert result(northfield, WEEK).result == "over"


def test_a_mean_of_exactly_250_flies_is_not_over_250(group: Group, northfield: Farm, traps: list[Station]):
    count_week(traps, WEEK, [200, 300])
    check(group, WEEK)
    assert (result(northfield, WEEK, "trap").mean, result(northfield, WEEK, "trap").result) == (250.0, "near")


def test_150_flies_on_15_animals_reach_10_per_animal(group: Group, northfield: Farm, leg_station: Station):
    count_week([leg_station], WEEK, [[10] * 14 + [10]])
    check(group, WEEK)
    assert (result(northfield, WEEK, "leg").mean, result(northfield, WEEK, "leg").result) == (10.0, "over")


def test_149_flies_on_15_animals_do_not(group: Group, northfield: Farm, leg_station: Station):
    count_week([leg_station], WEEK, [[10] * 14 + [9]])
    check(group, WEEK)
    assert result(northfield, WEEK, "leg").result == "near"


@pytest.mark.parametrize(("counts", "word"), [([66] * 5, "below"), ([67] * 5, "near"), ([66, 66, 67, 67, 68], "near")])
def test_near_begins_at_two_thirds_of_the_level(
    group: Group, northfield: Farm, cards: list[Station], counts: list[int], word: str
):
    count_week(cards, WEEK, counts)
    check(group, WEEK)
    assert result(northfield, WEEK).result == word


def test_a_hot_calf_barn_does_not_vanish_in_the_farms_mean(
    group: Group, northfield: Farm, calf_barn: Facility, cards: list[Station]
):
    heifers = make_facility(northfield, "Heifer barn", "heifer_barn", 4)
    quiet = make_stations(heifers, "card", range(6, 16))
    count_week(cards + quiet, WEEK, [150] * 5 + [10] * 10)
    check(group, WEEK)
    assert result(northfield, WEEK).result == "below"
    assert result(northfield, WEEK, facility=calf_barn).result == "over"
    assert result(northfield, WEEK, facility=heifers).result == "below"


def test_fewer_than_five_cards_are_judged_and_marked(group: Group, northfield: Farm, cards: list[Station]):
    count_week(cards, WEEK, [150, 150, 150, 150, "lost"])
    check(group, WEEK)
    row = result(northfield, WEEK)
    assert (row.result, row.few_devices, row.devices, row.missing) == ("over", True, 4, 1)
    assert row.evidence["missing"] == [{"station": str(cards[4].id), "number": 5, "reason": "lost"}]


def test_five_cards_are_enough_and_fewer_than_ten_animals_are_few(
    group: Group, northfield: Farm, cards: list[Station], leg_station: Station
):
    count_week(cards, WEEK, [1] * 5)
    count_week([leg_station], WEEK, [[3] * 9])
    check(group, WEEK)
    assert not result(northfield, WEEK).few_devices
    assert result(northfield, WEEK, "leg").few_devices


def test_what_was_not_counted_is_said_and_is_never_zero(group: Group, northfield: Farm, cards: list[Station]):
    count_week(cards, WEEK, ["lost", "wet", "chewed", "lost", "lost"])
    check(group, WEEK)
    row = result(northfield, WEEK)
    assert (row.mean, row.result, row.devices, row.missing) == (None, "none", 0, 5)
    trap = result(northfield, WEEK, "trap")
    assert (trap.mean, trap.result, trap.missing) == (None, "none", 0)


def test_the_mean_has_an_interval_and_says_why_where_it_has_none(
    group: Group, northfield: Farm, cards: list[Station], traps: list[Station]
):
    count_week(cards, WEEK, [80, 90, 100, 110, 120])
    count_week(traps, WEEK, [10, 20])
    check(group, WEEK)
    row = result(northfield, WEEK)
    assert row.low is not None and row.high is not None
    assert row.low < 100 < row.high
    trap = result(northfield, WEEK, "trap")
    assert (trap.low, trap.high, trap.evidence["interval"]) == (None, None, "two_stations")


def test_one_leg_count_has_a_range_from_its_animals(group: Group, northfield: Farm, leg_station: Station):
    animals = [12, 3, 0, 7, 9, 15, 4, 6, 8, 5]
    count_week([leg_station], WEEK, [animals])
    check(group, WEEK)
    row = result(northfield, WEEK, "leg")
    # As monitoring.analysis.leg_count says of the same animals.
    assert (row.mean, round(row.low or 0, 1), round(row.high or 0, 1)) == (6.9, 4.5, 11.4)
    assert row.evidence["interval"] == ""
    assert 0 < (row.over_probability or 0) < 0.5


def test_a_corrected_leg_count_has_its_later_range(group: Group, northfield: Farm, leg_station: Station):
    (counted,) = count_week([leg_station], WEEK, [[90] * 10])
    correct(counted, [12, 3, 0, 7, 9, 15, 4, 6, 8, 5], received=check_time(WEEK))
    check(group, WEEK)
    assert round(result(northfield, WEEK, "leg").high or 0, 1) == 11.4


def test_most_of_it_names_the_stations_with_their_question(
    group: Group, northfield: Farm, calf_barn: Facility, cards: list[Station]
):
    count_week(cards, WEEK, [5, 5, 5, 200, 5])
    check(group, WEEK)
    (place,) = result(northfield, WEEK, facility=calf_barn).evidence["places"]
    assert (place["number"], place["question"], place["share"]) == (4, "look_here_first", 0.9091)


def test_the_trend_is_the_farms_and_needs_five_weeks(group: Group, northfield: Farm, cards: list[Station]):
    for number in range(5):
        count_week(cards, monday(number), [5 * 2**number, 6 * 2**number, 7 * 2**number, 5 * 2**number, 8 * 2**number])
        check(group, monday(number))
    assert (result(northfield, monday(3)).trend, result(northfield, monday(3)).weeks_observed) == ("too_early", 4)
    row = result(northfield, monday(4))
    assert (row.trend, row.weeks_observed) == ("rising", 5)
    # Doubling each week: log 2 = 0.6931.
    assert row.growth == pytest.approx(0.6931, abs=1e-4)


def test_a_farm_without_any_station_is_no_obstacle(
    group: Group, region: Region, northfield: Farm, carla: User, cards: list[Station]
):
    empty = make_farm("Bare Hill", region, carla)
    count_week(cards, WEEK, [1] * 5)
    run = check(group, WEEK)
    assert (run.farms, run.failures) == (2, 0)
    with as_factory():
        assert not Assessment.objects.filter(farm=empty).exists()


def test_a_farm_out_of_season_is_not_judged(group: Group, northfield: Farm, cards: list[Station]):
    with as_factory():
        Season.objects.filter(farm=northfield).update(closes_on=monday(0))
    count_week(cards, WEEK, [1] * 5)
    assert check(group, WEEK).farms == 0
