"""The trend: its growth, its reasons for having none, its doubling time, and what its interval covers."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from monitoring.analysis.correlated_weeks import ALONE, WeekScatter
from monitoring.analysis.farm_weeks import farm_weeks_from, farm_weeks_of
from monitoring.analysis.simulated_farms import Network, simulate_farms
from monitoring.analysis.trend import Trends, fit_trends
from monitoring.analysis.week_effects import week_effects
from monitoring.analysis.week_scatter import fit_week_scatter
from tests.monitoring.analysis.counts import GROWTH, MONDAYS, NONE, K, exactly_known, simulated, weeks_of
from tests.monitoring.analysis.farms import grid

SHARED = WeekScatter(shock=0.3, stays=0.2, counting=1.0, growth=0.1, degrees=8.0, k=K, farms=100)
OWN = WeekScatter(shock=0.3, stays=0.2, counting=1.0, growth=0.1, degrees=8.0, k=K, farms=99)
UNEVEN = [40, 70, 50, 90, 80, 120, 90, 150]


@pytest.fixture
def rng():
    return np.random.default_rng(20260601)


def one_farm(counts, scatter=None, **options):
    return fit_trends(weeks_of(counts, **options), scatter)


class TestGrowth:
    @pytest.mark.parametrize("k", [0.3, 1.5, np.inf])
    def test_a_farm_that_doubles_every_week_is_found_to(self, k):
        trends = one_farm([[9 * 2**t for t in range(8)], [27 * 2**t for t in range(8)]], k=k)
        assert np.exp(trends.slope[0]) == pytest.approx(2, rel=1e-9)
        assert (trends.standard_error[0], trends.p_value[0], trends.degrees[0]) == (0, 0, 6)

    def test_a_farm_that_never_changes_has_no_growth_and_p_one(self):
        trends = one_farm([[70] * 8, [20] * 8])
        assert trends.slope[0] == pytest.approx(0, abs=1e-9)
        assert (trends.standard_error[0], trends.p_value[0]) == (0, 1)

    def test_a_skipped_week_lies_where_its_date_is(self):
        trends = one_farm([[10, 20, NONE, 80, 160, 320, NONE, 1280]])
        assert np.exp(trends.slope[0]) == pytest.approx(2, rel=1e-9)
        assert (trends.weeks.weeks_observed[0], trends.degrees[0]) == (6, 4)

    def test_it_is_told_a_week_whatever_the_days_between(self):
        trends = one_farm([[10, 20, 40, 80]], dates=np.arange(4) * 14.0)
        assert np.exp(2 * trends.slope[0]) == pytest.approx(2, rel=1e-9)

    def test_the_end_of_a_window_is_fitted_with_the_whole_of_it(self):
        series = [640, 320, 160, 80, 10, 20, 40, 80, 160, 320, 640, 1280]
        assert np.exp(fit_trends(weeks_of([series]).last(8)).slope[0]) == pytest.approx(2, rel=1e-9)

    def test_a_week_that_is_hardly_known_moves_it_less(self):
        # The last week rests on one station of five, the others are lost: it says little.
        counts = np.full((5, 8), 40.0)
        counts[:, 7] = [120, NONE, NONE, NONE, NONE]
        whole = np.where(np.isnan(counts), 120.0, counts)
        still = WeekScatter(shock=0.05, stays=0.0, counting=1.0, growth=0.1, degrees=8.0, k=K, farms=100)
        assert 0 < one_farm(counts, still).slope[0] < 0.6 * one_farm(whole, still).slope[0]

    def test_a_part_of_a_card_enters_as_less_exposure(self):
        whole, quarter = grid([UNEVEN]), grid([UNEVEN], part=[0.25] * 8, how=["part"] * 8)
        one, other = (
            fit_trends(farm_weeks_of(each, np.array([0]), 1, newest=7, k=K, weeks=8)) for each in (whole, quarter)
        )
        assert one.slope[0] == pytest.approx(other.slope[0], rel=1e-9)


class TestHowSure:
    def test_alone_it_has_its_own_scale(self):
        assert one_farm([UNEVEN]).degrees[0] == 6

    def test_under_a_hundred_farms_too_and_from_there_the_networks_beside_it(self):
        assert one_farm([UNEVEN], OWN).degrees[0] == 6
        assert one_farm([UNEVEN], SHARED).degrees[0] == 14

    def test_a_network_under_thirty_farms_is_none(self):
        few = WeekScatter(shock=0.3, stays=0.2, counting=1.0, growth=0.1, degrees=8.0, k=K, farms=29)
        np.testing.assert_array_equal(one_farm([UNEVEN], few).standard_error, one_farm([UNEVEN]).standard_error)

    def test_a_scale_in_which_farms_do_not_differ_is_known(self):
        known, nearly = (replace(SHARED, degrees=degrees) for degrees in (np.inf, 1e9))
        assert one_farm([UNEVEN], known).standard_error[0] == pytest.approx(
            one_farm([UNEVEN], nearly).standard_error[0]
        )

    def test_a_farm_whose_weeks_scatter_more_is_less_sure(self):
        rough = [40, 90, 30, 140, 60, 180, 60, 200]
        assert one_farm([rough]).standard_error[0] > one_farm([UNEVEN]).standard_error[0]

    def test_weather_that_lasts_makes_it_less_sure(self, rng):
        weeks = exactly_known(0.3 * rng.standard_normal((200, 8)))
        lasting = WeekScatter(shock=0.3, stays=0.6, counting=1.0, growth=0.1, degrees=1e6, k=K, farms=100)
        passing = WeekScatter(shock=0.3, stays=0.0, counting=1.0, growth=0.1, degrees=1e6, k=K, farms=100)
        one, other = (fit_trends(weeks, each).standard_error for each in (lasting, passing))
        assert (one > 1.2 * other).all()

    def test_the_interval_holds_the_growth_and_a_surer_one_is_wider(self, rng):
        trends = fit_trends(weeks_of(simulated(rng, farms=20)[0]))
        narrow, wide = trends.interval(0.5), trends.interval(0.95)
        assert ((wide.low < narrow.low) & (narrow.low < trends.slope) & (trends.slope < narrow.high)).all()
        assert (narrow.high < wide.high).all()

    def test_p_is_under_five_percent_where_the_interval_holds_no_zero(self, rng):
        trends = fit_trends(weeks_of(simulated(rng, farms=200)[0]), SHARED)
        ends = trends.interval(0.95)
        np.testing.assert_array_equal(trends.p_value < 0.05, (ends.low > 0) | (ends.high < 0))

    @pytest.mark.parametrize("level", [0.0, 1.0, -0.5, NONE])
    def test_a_confidence_outside_0_to_1_is_refused(self, level):
        with pytest.raises(ValueError, match=r"^level must"):
            one_farm([UNEVEN]).interval(level=level)
        with pytest.raises(ValueError, match=r"^level must"):
            one_farm([UNEVEN]).doubling(level=level)


def trends_with(slope, error) -> Trends:
    """Trends of this growth and standard error, on six degrees of freedom."""
    slope, error = np.array(slope, float), np.array(error, float)
    return Trends(slope, error, np.full(slope.shape, 6.0), slope, np.full(slope.shape, ""), exactly_known([[0.0]]))


class TestDoubling:
    def test_is_the_log_of_two_over_the_growth_and_halving_is_negative(self):
        doubling = trends_with(np.log([2, np.sqrt(2), 0.5]), [1e-9] * 3).doubling()
        np.testing.assert_allclose(doubling.weeks, [1, 2, -1], rtol=1e-12)
        np.testing.assert_allclose(doubling.soonest, doubling.weeks, rtol=1e-6)
        np.testing.assert_allclose(doubling.latest, doubling.weeks, rtol=1e-6)

    def test_no_growth_never_doubles(self):
        doubling = trends_with([0.0], [0.1]).doubling()
        assert doubling.weeks[0] == np.inf and doubling.latest[0] == np.inf

    def test_an_interval_that_holds_no_growth_has_no_latest(self):
        doubling = trends_with([0.1, -0.1], [0.1, 0.1]).doubling()
        assert (doubling.latest == np.inf).all()
        ends = trends_with([0.1, -0.1], [0.1, 0.1]).interval()
        np.testing.assert_allclose(doubling.soonest, np.log(2) / np.array([ends.high[0], ends.low[1]]))

    def test_soonest_and_latest_are_the_ends_of_the_interval(self):
        trends = trends_with([0.3, -0.3], [0.05, 0.05])
        ends, doubling = trends.interval(), trends.doubling()
        np.testing.assert_allclose(doubling.soonest, np.log(2) / np.array([ends.high[0], ends.low[1]]))
        np.testing.assert_allclose(doubling.latest, np.log(2) / np.array([ends.low[0], ends.high[1]]))

    def test_without_a_trend_there_is_none(self):
        doubling = fit_trends(weeks_of([[0] * 8])).doubling()
        assert np.isnan([doubling.weeks[0], doubling.soonest[0], doubling.latest[0]]).all()


@pytest.mark.parametrize(
    ("counts", "reason"),
    [
        ([[NONE] * 8] * 2, "no_counts"),
        ([[NONE] * 5 + [30, 40, 50]], "too_few_weeks"),
        ([[0] * 8] * 2, "all_zero"),
        ([[8] * 8], "too_few_counts"),
        ([[30, 40, 50, 60, 40] + [NONE] * 3, [NONE] * 5 + [30, 40, 50]], "not_comparable"),
        ([[40]], "too_few_weeks"),
    ],
)
def test_where_there_is_no_trend_there_is_a_reason_and_no_number(counts, reason):
    for scatter in (None, SHARED):
        trends = one_farm(counts, scatter)
        assert (trends.reason[0], trends.degrees[0]) == (reason, 0)
        ends = trends.interval()
        assert np.isnan([trends.slope, trends.standard_error, trends.p_value, ends.low, ends.high]).all()


def test_farms_side_by_side_do_not_touch_each_other():
    both = fit_trends(weeks_of(np.array([[UNEVEN], [[0.0] * 8], [[40.0] * 8]])))
    assert both.reason.tolist() == ["", "all_zero", ""]
    assert both.slope[0] == one_farm([UNEVEN]).slope[0]


def test_dates_must_differ():
    with pytest.raises(ValueError, match=r"^dates must differ"):
        one_farm([UNEVEN], dates=np.zeros(8))


def test_no_farms_are_no_trends():
    trends = fit_trends(weeks_of(np.ones((0, 3, 8))))
    assert trends.slope.shape == trends.doubling().weeks.shape == (0,)


def test_the_mark_of_an_at_least_count_goes_along():
    weeks = grid([UNEVEN], at_least=[0] * 7 + [1])
    assert fit_trends(farm_weeks_of(weeks, np.array([0]), 1, newest=7, k=K, weeks=8)).weeks.at_least[0]


CELLS = st.integers(0, 300).map(float) | st.just(0.0) | st.just(NONE)
FARMS = arrays(float, (1, 4, 8), elements=CELLS)
DAYS = arrays(float, (1, 4, 8), elements=st.integers(1, 20).map(float))
SCATTERS = st.sampled_from([None, OWN, SHARED])


@given(FARMS, DAYS, SCATTERS, st.permutations(range(4)))
@settings(max_examples=200)
def test_the_order_of_stations_changes_nothing(counts, days, scatter, order):
    one = fit_trends(farm_weeks_from(counts, days, MONDAYS, K), scatter)
    other = fit_trends(farm_weeks_from(counts[:, order], days[:, order], MONDAYS, K), scatter)
    assert one.reason == other.reason
    np.testing.assert_allclose(one.slope, other.slope, atol=1e-8)
    np.testing.assert_allclose(one.standard_error, other.standard_error, atol=1e-7)


@given(FARMS, DAYS, SCATTERS, st.integers(2, 9))
def test_more_days_everywhere_change_nothing(counts, days, scatter, times):
    one, other = (fit_trends(farm_weeks_from(counts, each, MONDAYS, K), scatter) for each in (days, days * times))
    np.testing.assert_allclose(one.slope, other.slope, atol=1e-8)
    np.testing.assert_allclose(one.standard_error, other.standard_error, atol=1e-7)


@given(FARMS, DAYS, SCATTERS, st.floats(-1000, 1000).map(round))
def test_the_day_from_which_dates_are_counted_changes_nothing(counts, days, scatter, later):
    one, other = (fit_trends(farm_weeks_from(counts, days, MONDAYS + each, K), scatter) for each in (0, later))
    np.testing.assert_allclose(one.slope, other.slope, atol=1e-9)


@given(FARMS, DAYS, SCATTERS)
def test_backwards_in_time_growth_is_the_other_way(counts, days, scatter):
    one = fit_trends(farm_weeks_from(counts, days, MONDAYS, K), scatter)
    other = fit_trends(farm_weeks_from(counts, days, -MONDAYS, K), scatter)
    np.testing.assert_allclose(one.slope, -other.slope, atol=1e-9)
    np.testing.assert_allclose(one.p_value, other.p_value, atol=1e-7)


@given(FARMS, DAYS, SCATTERS)
@settings(max_examples=200)
def test_every_farm_has_all_its_numbers_or_a_reason(counts, days, scatter):
    trends = fit_trends(farm_weeks_from(counts, days, MONDAYS, K), scatter)
    ends = trends.interval()
    for number in (trends.slope, trends.standard_error, trends.p_value, ends.low, ends.high):
        assert np.isfinite(number[0]) == (trends.reason[0] == "")
    if trends.reason[0] == "":
        assert 0 <= trends.p_value[0] <= 1 and trends.standard_error[0] >= 0


def as_if_independent(counts, days, truth):
    """Coverage of the intervals that take every count as independent: Poisson, and with its scatter (quasi-Poisson)."""
    found = week_effects(counts, days, np.inf)
    x = MONDAYS / 7 - MONDAYS.mean() / 7
    precision = np.einsum("t,fts,s->f", x, np.linalg.pinv(found.noise, hermitian=True), x)
    along = np.einsum("t,fts,fs->f", x, np.linalg.pinv(found.noise, hermitian=True), found.effects)
    seen = ~np.isnan(counts)
    with np.errstate(invalid="ignore"):
        expected = days * np.exp(found.stations[:, :, None] + found.effects[:, None, :])
        squares = np.where(seen, (counts - expected) ** 2 / expected, 0.0)
    scatter = squares.sum(axis=(1, 2)) / (seen.sum(axis=(1, 2)) - counts.shape[1] - 7)
    error = np.sqrt(1 / precision)
    off = np.abs(along / precision - truth)
    return [float(np.mean(off <= 1.959964 * each)) for each in (error, error * np.sqrt(scatter))]


@pytest.mark.parametrize("shock", [0.0, 0.15, 0.3])
def test_what_the_95_percent_interval_covers(shock, capsys):
    """Simulated: negative-binomial counts (k 1.5), stations sd 0.6, a weekly shock shared by a farm's stations.

    The scatter of the network is fitted on farms of its own.
    """
    farms, lines = 2000, []
    rng = np.random.default_rng(int(1000 * shock) + 7)
    for stations, missing in ((5, 0.0), (9, 0.2), (25, 0.1)):
        counts, days = simulated(rng, farms=farms, stations=stations, shock=shock, missing=missing)
        weeks = farm_weeks_from(counts, days, MONDAYS, K)
        with np.errstate(under="ignore"):
            past = simulate_farms(rng, Network(stations, shock, missing=missing), 500, 12, np.zeros(12)).counts
        scatter = fit_week_scatter(weeks_of(past), K)
        assert weeks.told.all()
        covered = [covers(fit_trends(weeks, each).interval(), GROWTH) for each in (scatter, None)]
        poisson, quasi = as_if_independent(counts, days, GROWTH)
        share = [f"{100 * each:.1f}" for each in (*covered, poisson, quasi)]
        lines.append(f"{stations} stations {share[0]} and {share[1]} % ({share[2]} and {share[3]} %)")
        assert 0.93 < covered[0] < 0.97
        assert 0.92 < covered[1] < 0.99
        assert poisson < covered[0] - 0.5
    with capsys.disabled():
        print(
            f"\n95 % trend interval covers at a weekly shock of {shock}, with a network and alone (in brackets Poisson "
            "and quasi-Poisson, which take counts as independent): " + ", ".join(lines)
        )


def covers(ends, truth):
    return float(np.mean((ends.low <= truth) & (ends.high >= truth)))


def test_alone_is_what_a_farm_without_a_network_gets():
    np.testing.assert_array_equal(one_farm([UNEVEN], ALONE).standard_error, one_farm([UNEVEN]).standard_error)
