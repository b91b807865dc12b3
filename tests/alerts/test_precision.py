"""How well a farm's means are known by its own readings: the scatter, where it comes from, what would be enough."""

import json
import math
from dataclasses import asdict
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
import pytest
from django.db import connection
from scipy import optimize, stats

from alerts.models import BorrowedFigures
from alerts.selectors.precision import Precision, precision_of_farm
from farms.clock import quarter_of
from farms.models import Farm, Group, User
from monitoring.models import Placement, Reading, Station
from tests.alerts.scene import correct, count_week, monday
from tests.cast import NOW, acting, as_factory

pytestmark = pytest.mark.django_db
WEEK = monday(5)
# Twelve animals of one leg count, made up.
FLIES = [0, 3, 12, 5, 0, 8, 21, 2, 7, 0, 4, 10]


def of(farm: Farm, by: User, method: str = "card", week: Any = WEEK) -> Precision:
    with acting(by):
        found = {row.method: row for row in precision_of_farm(farm, week)}
    json.dumps([asdict(row) for row in found.values()], allow_nan=False)
    return found[method]


def lend(group: Group, method: str, fitted: datetime = NOW - timedelta(days=60), **figures: float) -> None:
    usual = {"shock": 0.2, "stays": 0.3, "counting": 1.0, "growth": 0.1, "degrees": 9.0, "weight_k": 1.4}
    with as_factory():
        BorrowedFigures.objects.create(
            group=group, method=method, quarter=quarter_of(WEEK), farms=45, holdings=42, fitted_at=fitted,
            code_version="test", **(usual | figures),
        )  # fmt: skip


def test_a_farms_own_scatter_goes_first(northfield: Farm, anna: User, cards: list[Station], group: Group):
    lend(group, "card", taylor_a=9.0, taylor_b=2.0)
    counts = [20, 50, 100, 130, 200]
    count_week(cards, WEEK, counts)
    row = of(northfield, anna)
    mean, variance = np.mean(counts), np.var(counts, ddof=1)
    assert (row.devices, row.mean, row.source, row.reason) == (5, mean, "own", "")
    assert row.relative_variance == pytest.approx(variance / mean**2, rel=1e-12)
    # The standard error of a mean over the mean, by scipy.
    assert row.reached == pytest.approx(stats.sem(counts) / mean, rel=1e-12)
    assert row.for_a_quarter == math.ceil(variance / mean**2 / 0.25**2)
    assert row.for_15_percent == math.ceil(variance / mean**2 / 0.15**2)


def test_own_scatter_pools_the_weeks_and_leaves_a_lost_card_out(northfield: Farm, anna: User, traps: list[Station]):
    weeks = [(100, 150), (40, 80), (90, 90), (60, 30)]
    for number, counts in enumerate(weeks, start=2):
        count_week(traps, monday(number), counts)
    row = of(northfield, anna, "trap")
    # Four weeks of two traps: four degrees of freedom, s^2/m^2 of each (n - 1 below the line) in their mean.
    pooled = np.mean([np.var(counts, ddof=1) / np.mean(counts) ** 2 for counts in weeks])
    assert (row.source, row.devices) == ("own", 2)
    assert row.relative_variance == pytest.approx(pooled, rel=1e-12)
    count_week(traps, monday(6), [70, "lost"])
    assert of(northfield, anna, "trap", monday(6)).devices == 1


# A standard error of 15 % of the mean took 12 spot cards or 7 jug traps: Gerry et al. 2011, J Econ Entomol 104(3).
@pytest.mark.parametrize(("method", "enough"), [("card", 12), ("trap", 7)])
def test_with_too_few_devices_the_published_precision_holds(
    northfield: Farm, anna: User, cards: list[Station], traps: list[Station], method: str, enough: int
):
    count_week((cards if method == "card" else traps)[:2], WEEK, [100, 160])
    row = of(northfield, anna, method)
    assert (row.devices, row.source, row.for_15_percent) == (2, "published", enough)
    assert row.reached == pytest.approx(0.15 * math.sqrt(enough / 2), rel=1e-9)


def test_before_it_goes_the_groups_own_law(northfield: Farm, anna: User, traps: list[Station], group: Group):
    lend(group, "trap", taylor_a=2.5, taylor_b=1.7)
    count_week(traps, WEEK, [100, 160])
    row = of(northfield, anna, "trap")
    # Taylor 1961, Nature 189:732: s^2 = a m^b.
    assert (row.source, row.relative_variance) == ("taylor", pytest.approx(2.5 * 130**1.7 / 130**2, rel=1e-12))
    # Of another quarter it is not.
    count_week(traps, monday(13), [100, 160])
    assert of(northfield, anna, "trap", monday(13)).source == "published"


def test_no_scatter_is_below_that_of_chance(northfield: Farm, anna: User, cards: list[Station]):
    count_week(cards, WEEK, [16] * 5)
    row = of(northfield, anna)
    assert (row.source, row.relative_variance) == ("own", 1 / 16)
    assert row.reached == pytest.approx(math.sqrt(1 / 80))
    assert row.unevenness.reason == "no_overdispersion" and row.unevenness.k is None


def test_two_cards_at_one_place_are_one(northfield: Farm, anna: User, cards: list[Station]):
    first = count_week(cards, WEEK, [20, 50, 100, 130, 200])[0]
    with as_factory():
        second = Placement.objects.create(
            farm=northfield, station_id=cards[0].id, hung_on=WEEK, zone="America/Chicago", entry=0
        )
        Reading.objects.create(
            farm=northfield, round_id=first.round_id, station_id=cards[0].id, method="card", zone="America/Chicago",
            placement_id=second.id, hung_on=WEEK, taken_on=first.taken_on, received_at=first.received_at, entry=0,
            count=40, fraction=1,
        )  # fmt: skip
    row = of(northfield, anna)
    assert (row.devices, row.mean, row.unevenness.counts) == (5, 102.0, 6)


def test_leg_counts_scatter_from_animal_to_animal(northfield: Farm, anna: User, leg_station: Station):
    count_week([leg_station], WEEK, [FLIES])
    row = of(northfield, anna, "leg")
    assert (row.devices, row.source, row.mean) == (12, "own", 6.0)
    # Four legs an animal.
    assert row.mean_per_leg == 1.5
    assert row.relative_variance == pytest.approx(np.var(FLIES, ddof=1) / 36, rel=1e-12)
    assert row.reached == pytest.approx(stats.sem(FLIES) / 6, rel=1e-12)


def test_a_few_animals_scatter_as_is_inferred_or_as_in_the_group(
    northfield: Farm, anna: User, leg_station: Station, group: Group
):
    count_week([leg_station], WEEK, [[4, 6, 2, 8]])
    row = of(northfield, anna, "leg")
    # k 1.4 is our own inference from 47 % of legs without flies at a mean of 1 a leg (Lysyk and Schaalje 1992).
    assert (row.source, row.relative_variance) == ("inferred", pytest.approx(1 / 5 + 1 / 1.4))
    lend(group, "leg", fitted=datetime.combine(WEEK, NOW.timetz(), UTC) - timedelta(days=7), leg_k=2.2)
    row = of(northfield, anna, "leg")
    assert (row.source, row.relative_variance) == ("group", pytest.approx(1 / 5 + 1 / 2.2))


def likeliest_k(counts: list[int]) -> float:
    """By scipy's negative binomial and its minimiser."""
    mean = np.mean(counts)

    def minus_log_likelihood(log_k: float) -> float:
        k = math.exp(log_k)
        return -float(stats.nbinom.logpmf(counts, k, k / (k + mean)).sum())

    found = optimize.minimize_scalar(minus_log_likelihood, bounds=(-4, 4), method="bounded", options={"xatol": 1e-10})
    return math.exp(found.x)


def test_k_is_that_of_the_highest_likelihood_and_zeros_stand_beside_what_it_lets_expect(
    northfield: Farm, anna: User, leg_station: Station
):
    count_week([leg_station], WEEK, [FLIES])
    seen, mean, k = of(northfield, anna, "leg").unevenness, np.mean(FLIES), likeliest_k(FLIES)
    assert (seen.counts, seen.reason) == (12, "")
    assert seen.k == pytest.approx(k, rel=1e-5)
    # By moments: m^2/(s^2 - m), Bliss and Fisher 1953, Biometrics 9:176.
    assert seen.k_by_moments == pytest.approx(mean**2 / (np.var(FLIES, ddof=1) - mean), rel=1e-12)
    assert seen.zeros == 0.25
    assert seen.zeros_expected == pytest.approx(stats.nbinom.pmf(0, k, k / (k + mean)), rel=1e-5)


def test_counts_of_a_week_that_can_not_be_held_side_by_side_give_no_k(
    northfield: Farm, anna: User, cards: list[Station], traps: list[Station]
):
    count_week(cards[:4], monday(1), [10, 20, 30, 40])
    assert of(northfield, anna, week=monday(1)).unevenness.reason == "too_few_counts"
    count_week(cards, monday(2), [10, 20, 30, 40, 50], at_least=True)
    row = of(northfield, anna, week=monday(2))
    assert (row.unevenness.reason, row.reason, row.reached) == ("at_least", "at_least", None)
    count_week(traps, monday(3), [500, 750], how="cup")
    assert of(northfield, anna, "trap", monday(3)).unevenness.reason == "estimated"


def test_a_part_stands_for_its_card_unless_there_was_nothing_on_it(northfield: Farm, anna: User, cards: list[Station]):
    for week, found in ((monday(3), 25), (monday(4), 0)):
        readings = count_week(cards, week, [100, 20, 30, 40, 250])
        correct(readings[0], found, received=readings[0].received_at + timedelta(hours=1))
    with as_factory():
        connection.cursor().execute(
            "UPDATE monitoring_reading SET fraction = 0.25, how = 'part' WHERE corrects_id IS NOT NULL"
        )
    whole = of(northfield, anna, week=monday(3)).unevenness
    assert (whole.counts, whole.zeros) == (5, 0.0)
    assert whole.k == pytest.approx(likeliest_k([100, 20, 30, 40, 250]), rel=1e-5)
    assert of(northfield, anna, week=monday(4)).unevenness.reason == "estimated"


def test_cards_up_for_7_and_8_days_are_alike_and_for_5_and_7_not(northfield: Farm, anna: User, cards: list[Station]):
    with as_factory():
        for week, days in ((monday(1), 8), (monday(2), 5)):
            readings = count_week(cards[:4], week, [10, 90, 30, 40])
            odd = Placement.objects.create(farm=northfield, station_id=cards[4].id, hung_on=week, zone="UTC", entry=0)
            Reading.objects.create(
                farm=northfield, round_id=readings[0].round_id, station_id=cards[4].id, method="card", zone="UTC",
                placement_id=odd.id, hung_on=week, taken_on=week + timedelta(days=days), entry=0, count=20, fraction=1,
                received_at=readings[0].received_at,
            )  # fmt: skip
    assert of(northfield, anna, week=monday(1)).unevenness.reason == ""
    assert of(northfield, anna, week=monday(2)).unevenness.reason == "unlike_days"


def test_nothing_caught_has_no_relative_precision(northfield: Farm, anna: User, cards: list[Station]):
    count_week(cards, WEEK, [0] * 5)
    row = of(northfield, anna)
    assert (row.mean, row.reached, row.for_a_quarter, row.reason) == (0.0, None, None, "nothing_caught")
    assert (row.unevenness.reason, row.unevenness.zeros, row.more_for_a_quarter) == ("all_zero", 1.0, 0)


def test_what_was_not_counted_is_no_zero(northfield: Farm, anna: User, cards: list[Station]):
    count_week(cards, monday(4), [20, 50, 100, 130, 200])
    count_week(cards, WEEK, ["lost"] * 5)
    row = of(northfield, anna)
    assert (row.devices, row.mean, row.reached, row.reason) == (0, None, None, "no_count")
    # The week before still says how unevenly the cards catch.
    assert (row.source, row.unevenness.reason) == ("own", "no_counts")
    assert row.for_15_percent is not None


def test_a_farm_with_leg_counts_alone_that_found_nothing(northfield: Farm, anna: User, leg_station: Station):
    count_week([leg_station], WEEK, [[0, 0, 0]])
    row = of(northfield, anna, "leg")
    assert (row.mean, row.mean_per_leg, row.source, row.reason) == (0.0, 0.0, "none", "nothing_caught")


def test_a_method_that_is_out_of_use_is_left_out(northfield: Farm, anna: User, cards: list[Station], traps: Any):
    count_week(cards, WEEK, [20, 50, 100, 130, 200])
    with as_factory():
        Station.objects.filter(farm=northfield, method="trap").update(until=WEEK - timedelta(days=1))
    with acting(anna):
        assert [row.method for row in precision_of_farm(northfield, WEEK)] == ["card", "leg"]


def test_a_farm_without_any_station_has_nothing_to_tell(southmead: Farm, carla: User):
    with as_factory():
        Station.objects.filter(farm=southmead).update(since=monday(20))
    with acting(carla):
        assert precision_of_farm(southmead, WEEK) == []


def test_a_stranger_reads_nothing_even_past_the_door(northfield: Farm, carla: User, cards: list[Station]):
    count_week(cards, WEEK, [20, 50, 100, 130, 200])
    with acting(carla):
        assert precision_of_farm(northfield, WEEK) == []


def test_another_farms_counts_change_nothing(
    northfield: Farm, southmead: Farm, anna: User, dana: User, cards: list[Station]
):
    count_week(cards, WEEK, [20, 50, 100, 130, 200])
    before = of(northfield, dana)
    with as_factory():
        theirs = list(Station.objects.filter(farm=southmead, method="card").order_by("number"))
    count_week(theirs, WEEK, [900, 0, 3, 1500, 7])
    assert of(northfield, dana) == before == of(northfield, anna)


@pytest.mark.parametrize(("counts", "more"), [([20, 50, 100, 130, 200], 3), ([80, 90, 100, 110, 120], 0)])
def test_how_many_more_would_bring_it_to_a_quarter(
    northfield: Farm, anna: User, cards: list[Station], counts: list[int], more: int
):
    count_week(cards, WEEK, counts)
    assert of(northfield, anna).more_for_a_quarter == more
