"""The farm's mean and its interval."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitoring.analysis.farm_mean import weekly_means
from monitoring.analysis.rates import station_weeks
from tests.monitoring.analysis.farms import grid, owned_by_one, readings

NONE = float("nan")


def means(counts, days=7.0, **columns):
    weeks = grid(np.array(counts, float)[:, None], days, **columns)
    return weekly_means(weeks, owned_by_one(weeks), 1)


def ends(counts, **columns):
    interval = means(counts, **columns).interval()
    return interval.low[0, 0], interval.high[0, 0], interval.why_none[0, 0]


def test_the_mean_is_over_stations_with_a_count():
    result = means([10, 20, NONE, 60])
    assert result.mean[0, 0] == 30
    assert (result.stations[0, 0], result.devices[0, 0], result.missing[0, 0]) == (3, 3, 1)


def test_each_station_weighs_the_same_however_long_its_card_hung():
    weeks = station_weeks(readings([(0, 0, 70, 7), (1, 0, 60, 14)]), n_stations=2, n_weeks=1)
    assert weekly_means(weeks, np.array([0, 0]), 1).mean[0, 0] == 50


def test_a_farm_without_a_count_has_no_mean():
    result = means([NONE, NONE])
    assert np.isnan(result.mean[0, 0])
    assert ends([NONE, NONE])[2] == "no_count"


def test_farms_and_their_facilities_are_taken_at_once():
    weeks = grid([[10, 1], [20, 2], [NONE, 30], [40, 40]])
    result = weekly_means(weeks, np.array([0, 0, 2, 2]), 3)
    np.testing.assert_allclose(result.mean, [[15, 1.5], [NONE, NONE], [40, 35]])
    assert result.stations.tolist() == [[2, 2], [0, 0], [1, 2]]


def test_the_interval_is_the_formula_in_its_notes():
    # By hand: m 120, s^2 4600/4 = 1150, n 5, c 1150/14400; t on 4 degrees of freedom is 2.776445
    # (printed t tables: 2.776).
    low, high, why = ends([100, 150, 80, 160, 110])
    c_over_n = 1150 / 120**2 / 5
    half = 2.7764451051977987 * (c_over_n * (1 + 2 * c_over_n)) ** 0.5
    assert why == ""
    np.testing.assert_allclose([low, high], 120 * np.exp([c_over_n - half, c_over_n + half]), rtol=1e-12)


def test_one_or_two_stations_have_no_interval_and_say_why():
    assert np.isnan(ends([80])[:2]).all() and ends([80])[2] == "one_station"
    assert np.isnan(ends([80, 90])[:2]).all() and ends([80, 90])[2] == "two_stations"


def test_one_station_at_zero_among_others_is_a_number_like_the_rest():
    low, high, why = ends([0, 30, 45, 20, 5])
    assert 0 < low < 20 < high
    assert why == ""


def test_five_stations_at_zero_leave_room_for_a_few():
    low, high, why = ends([0, 0, 0, 0, 0])
    # (0.7 / (0.7 + m))^5 = 0.025
    assert low == 0
    assert (0.7 / (0.7 + high)) ** 5 == pytest.approx(0.025)
    assert why == ""


def test_zeros_on_longer_exposure_leave_less_room():
    assert ends([0] * 5, days=14.0)[1] == pytest.approx(ends([0] * 5)[1] / 2)


def test_equal_counts_are_as_uncertain_as_counting_is():
    low, high, _ = ends([9, 9, 9, 9, 9])
    assert low < 7 and high > 12


def test_an_at_least_count_leaves_a_lower_end_only():
    result = means([300, 80, 120, 90, 100], at_least=[1, 0, 0, 0, 0])
    assert result.at_least[0, 0]
    low, high, why = ends([300, 80, 120, 90, 100], at_least=[1, 0, 0, 0, 0])
    assert low == ends([300, 80, 120, 90, 100])[0]
    assert np.isnan(high) and why == "at_least"


def test_fewer_than_five_devices_are_few():
    assert means([1, 2, 3, 4]).few[0, 0]
    assert not means([1, 2, 3, 4, 5]).few[0, 0]


COUNTS = st.lists(st.integers(0, 2000), min_size=3, max_size=40)


@given(COUNTS, st.randoms())
def test_the_order_of_stations_changes_nothing(counts, random):
    shuffled = counts.copy()
    random.shuffle(shuffled)
    np.testing.assert_allclose(ends(counts)[:2], ends(shuffled)[:2], rtol=1e-10)


@given(COUNTS)
def test_the_mean_lies_in_its_interval(counts):
    low, high, _ = ends(counts)
    assert low <= np.mean(counts) * (1 + 1e-12) and high >= np.mean(counts) * (1 - 1e-12)


@given(COUNTS, st.integers(2, 9))
def test_counts_and_days_times_the_same_number_give_the_same_mean(counts, times):
    one, other = means(counts), means([count * times for count in counts], days=7.0 * times)
    np.testing.assert_allclose(one.mean, other.mean, rtol=1e-12)


@given(COUNTS)
def test_a_higher_confidence_is_a_wider_interval(counts):
    narrow, wide = means(counts).interval(level=0.8), means(counts).interval(level=0.95)
    assert wide.low[0, 0] <= narrow.low[0, 0] and narrow.high[0, 0] <= wide.high[0, 0]


@pytest.mark.parametrize("level", [0.0, 1.0, -1.0, NONE])
def test_a_confidence_outside_0_to_1_is_refused(level):
    with pytest.raises(ValueError, match=r"^level must"):
        means([1, 2, 3]).interval(level=level)


def test_bad_owners_are_refused():
    weeks = grid([[1.0]])
    with pytest.raises(ValueError, match=r"^owner must lie"):
        weekly_means(weeks, np.array([3]), 1)
    with pytest.raises(ValueError, match=r"^owner must have the shape"):
        weekly_means(weeks, np.array([0, 0]), 1)


def coverage(rng, *, stations, mean, k, scatter, farms=4000):
    """Share of simulated farms whose interval holds the mean of all the places their stations might have been."""
    level = mean * np.exp(scatter * rng.standard_normal((stations, farms)) - scatter**2 / 2)
    counts = rng.poisson(rng.gamma(k, level / k)).astype(float)
    weeks = grid(counts)
    interval = weekly_means(weeks, owned_by_one(weeks), 1).interval()
    return float(((interval.low <= mean) & (mean <= interval.high)).mean())


@pytest.mark.parametrize("stations", [5, 9, 20, 40])
def test_the_95_percent_interval_covers_what_it_says(stations, capsys):
    """Negative-binomial counts on stations that differ: between 91.5 and 99.5 % cover, printed."""
    rng, found = np.random.default_rng(stations), []
    with np.errstate(under="ignore"):
        for mean in (2.0, 10.0, 80.0, 250.0):
            for k, scatter in ((1.5, 0.6), (3.0, 0.3), (10.0, 0.2), (0.8, 0.6)):
                found.append(100 * coverage(rng, stations=stations, mean=mean, k=k, scatter=scatter))
    by_mean = [
        f"{mean:g}: {min(each):.1f}-{max(each):.1f} %"
        for mean, each in zip((2, 10, 80, 250), np.reshape(found, (4, 4)), strict=True)
    ]
    with capsys.disabled():
        print(f"\n95 % interval of a mean covers, {stations} stations, at a mean of " + ", ".join(by_mean))
    assert min(found) > 91.5 and max(found) < 99.5
