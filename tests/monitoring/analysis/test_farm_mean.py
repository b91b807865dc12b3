"""The farm's mean and its interval."""

import json

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from monitoring.analysis.censored_mean import DeviceCounts, censored_means
from monitoring.analysis.farm_mean import weekly_means
from monitoring.analysis.rates import station_weeks
from server.calibrate.farm_mean import figures
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
    # By hand: m 120, s^2 4600/4 = 1150, n 5, c 1150/14400; counting alone gives 120 of the 1150, so that t has
    # 4 / sqrt(1030/1150) degrees of freedom.
    low, high, why = ends([100, 150, 80, 160, 110])
    c_over_n = 1150 / 120**2 / 5
    half = stats.t.ppf(0.975, 4 / (1030 / 1150) ** 0.5) * (c_over_n * (1 + 2 * c_over_n)) ** 0.5
    assert why == ""
    np.testing.assert_allclose([low, high], 120 * np.exp([c_over_n - half, c_over_n + half]), rtol=1e-9)


def test_one_or_two_stations_have_no_interval_and_say_why():
    assert np.isnan(ends([80])[:2]).all() and ends([80])[2] == "one_station"
    assert np.isnan(ends([80, 90])[:2]).all() and ends([80, 90])[2] == "two_stations"


def test_one_station_at_zero_among_others_is_a_number_like_the_rest():
    low, high, why = ends([0, 30, 45, 20, 5])
    assert 0 < low < 20 < high
    assert why == ""


def test_five_stations_at_zero_leave_room_for_a_few():
    low, high, why = ends([0, 0, 0, 0, 0])
    # A count of k 0.7 is zero with chance (0.7 / (0.7 + m))^0.7; five of them with 0.025.
    assert low == 0
    assert stats.nbinom.pmf(0, 0.7, 0.7 / (0.7 + high)) ** 5 == pytest.approx(0.025)
    assert why == ""


def test_zeros_on_longer_exposure_leave_less_room():
    assert ends([0] * 5, days=14.0)[1] == pytest.approx(ends([0] * 5)[1] / 2)


def test_equal_counts_are_as_uncertain_as_counting_is():
    low, high, _ = ends([9, 9, 9, 9, 9])
    assert low < 7 and high > 12


def test_equal_cups_are_as_uncertain_as_a_cup_is():
    low, high, _ = ends([250] * 5, how=["cup"] * 5)
    # 20 % a cup, known from five: sqrt(0.04 / 5) = 9 % on the log scale, and t beside it.
    assert low < 250 * np.exp(-1.96 * 0.09) and high > 250 * np.exp(1.96 * 0.09)
    counted = ends([250] * 5)
    assert low < counted[0] and counted[1] < high


def test_two_cups_of_one_station_are_surer_than_one():
    def upper(rows):
        weeks = station_weeks(readings(rows, how=["cup"] * len(rows)), n_stations=3, n_weeks=1)
        return weekly_means(weeks, np.zeros(3, int), 1).interval().high[0, 0]

    one = [(station, 0, 500, 8) for station in range(3)]
    two = [(station, 0, 250, 4) for station in range(3) for _ in range(2)]
    assert upper(two) < upper(one)


def test_a_quarter_counted_is_less_sure_than_all():
    all_of_it = ends([100] * 5)
    quarter = ends([25] * 5, part=[0.25] * 5, how=["part"] * 5)
    assert quarter[0] < all_of_it[0] and all_of_it[1] < quarter[1]


def test_an_at_least_count_has_both_ends_and_lies_higher_than_a_count():
    # Until now it left a lower end only: now the chance of so many or more is in the likelihood.
    counts, marks = [300, 80, 120, 90, 100], [1, 0, 0, 0, 0]
    result = means(counts, at_least=marks)
    assert result.at_least[0, 0]
    low, high, why = ends(counts, at_least=marks)
    assert why == "" and low > ends(counts)[0] and high > 300


def test_nothing_but_at_least_counts_leaves_a_lower_end_only():
    low, high, why = ends([300, 300, 300, 300, 300], at_least=[1] * 5)
    assert low > 100 and np.isnan(high) and why == "at_least"


def test_at_least_none_says_nothing():
    assert ends([0, 0, 0], at_least=[1, 0, 0])[0] == 0
    assert np.isnan(ends([0, 0, 0], at_least=[1, 0, 0])[1])
    assert ends([0, 0, 0], at_least=[1, 0, 0])[2] == "at_least"


def test_two_stations_have_no_interval_where_one_is_at_least_either():
    assert ends([300, 80], at_least=[1, 0])[2] == "two_stations"


def test_an_interval_may_lie_above_a_mean_that_is_too_low():
    counts = [300] * 20 + list(range(200, 300, 5))
    low, _, _ = ends(counts, at_least=[1] * 20 + [0] * 20)
    assert low > np.mean(counts)


def test_parts_cups_and_days_reach_the_likelihood_as_they_are():
    weeks = grid([[30.0], [200.0], [500.0], [80.0]], 14.0, part=[0.25, 1, 1, 1], at_least=[0, 1, 0, 0],
                 how=["part", "counted", "cup", "counted"])  # fmt: skip
    interval = weekly_means(weeks, owned_by_one(weeks), 1).interval(k=2.0, level=0.9)
    counts = DeviceCounts(np.zeros(4, int), np.array([30.0, 200, 500, 80]), np.array([0.5, 2, 2, 2]),
                          np.array([False, True, False, False]), np.array([0, 0, 0.04, 0]))  # fmt: skip
    expected = censored_means(counts, 1, k=2.0, level=0.9)
    np.testing.assert_allclose([interval.low[0, 0], interval.high[0, 0]], [expected.low[0], expected.high[0]])


def a_season():
    counts = np.array(
        [[80.0, 0], [300, 0], [120, 0], [10, 40], [NONE, 300], [30, 20], [300, 300], [300, NONE], [300, 5]]
    )
    marks = (counts == 300).ravel()
    weeks = grid(counts, at_least=marks)
    return weekly_means(weeks, np.repeat([0, 1, 2], 3), 3)


@pytest.mark.parametrize("week", [0, 1])
def test_one_week_alone_is_what_it_is_among_all(week):
    every, one = a_season().interval(), a_season().interval(week=week)
    for name in ("low", "high", "why_none", "degrees"):
        np.testing.assert_array_equal(getattr(every, name)[:, [week]], getattr(one, name))
    assert every.why_none.tolist() == [["", ""], ["two_stations", ""], ["at_least", "two_stations"]]


@pytest.mark.parametrize("week", [-1, 2])
def test_a_week_that_is_not_there_is_refused(week):
    with pytest.raises(ValueError, match=r"^week must lie"):
        a_season().interval(week=week)


@pytest.mark.parametrize("k", [0.0, -1.0, float("inf"), NONE])
def test_a_k_that_is_none_is_refused(k):
    with pytest.raises(ValueError, match=r"^k must"):
        means([1, 2, 3]).interval(k=k)


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


def told(row):
    k = f"k {row['k']:g}" + (", which varies" if row["k_sd"] else "") + (", places differ" if row["place_sd"] else "")
    line = (
        f"{row['devices']} devices, {row['way']}, mean {row['mean']:g}, {k}: {100 * row['covers']:.1f} % "
        f"({100 * row['too_high']:.1f} too high, {100 * row['too_low']:.1f} too low)"
        f", ends {row['factor']:.1f} times apart"
    )
    if not row["cap"]:
        return line
    some, only = 100 * row["with_at_least"], 100 * row["only_at_least"]
    return f"{line}; from {row['cap']:g} at least: {some:.0f} % of farms have such counts, {only:.0f} % no others"


@pytest.fixture(scope="module", params=[False, pytest.param(True, marks=pytest.mark.full)])
def calibrated(request):
    """The figures, and how many standard errors a cell may be off: the short version has a few cells of 1,000 farms."""
    with np.errstate(under="ignore"):
        if request.param:
            return figures(10_000, seed=7), 2
        return figures(1_000, seed=7, quick=True, processes=1), 3


def within(row, low, high, errors):
    return low - errors * row["covers_error"] <= row["covers"] <= high + errors * row["covers_error"]


def test_the_95_percent_interval_covers_95_percent_of_simulated_farms(calibrated, capsys):
    """The issue: 93 to 97 % averaged over k from 0.8 to 4, 91 to 98 % in each cell, with 5 and with 40 devices."""
    found, errors = calibrated
    with capsys.disabled():
        print(f"\n95 % interval of a farm's mean, {found['farms']} farms a cell, averaged over k 0.8 to 4 covers")
        for row in found["averages"]:
            print(f"  {row['devices']} devices, {row['way']}, mean {row['mean']:g}: {100 * row['covers']:.1f} %")
        print("cell by cell", *map(told, found["counted"]), sep="\n  ")
    assert all(within(row, 0.91, 0.98, errors) for row in found["counted"])
    slack = errors * max(row["covers_error"] for row in found["counted"]) / 5**0.5
    assert all(0.93 - slack <= row["covers"] <= 0.97 + slack for row in found["averages"])


def test_with_at_least_counts_it_covers_95_percent_where_k_varies_as_in_the_network(calibrated, capsys):
    """The issue: 93 to 97 % over farms whose k varies as the network's, at least 89 % at k 0.8 with 5 devices.

    Printed besides, and not promised: farms on places that differ (log sd 0.6) beside a k of 1.5. Where one in five of
    40 devices is at-least there, the tail that nobody counted is longer than that of any negative binomial, and upper
    ends lie too low: 89 % cover.
    """
    found, errors = calibrated
    with capsys.disabled():
        for part in ("at_least", "at_least_uneven", "places"):
            print(f"\n95 % interval, {part}", *map(told, found[part]), sep="\n  ")
    assert all(within(row, 0.93, 0.97, errors) for row in found["at_least"])
    assert all(within(row, 0.89, 1.0, errors) for row in found["at_least_uneven"])


def test_the_figures_are_the_same_for_the_same_seed_and_are_plain_data():
    with np.errstate(under="ignore"):
        first, again = (figures(20, seed=1, quick=True, processes=1) for _ in range(2))
    assert json.dumps(first) == json.dumps(again)
