"""Where the farm will be, how wide that is, and when its action level is crossed."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from monitoring.analysis.correlated_weeks import PRINTED, WeekScatter
from monitoring.analysis.forecast import CROSSING_WEEKS, HORIZON, Forecasts, crossings, forecast
from monitoring.analysis.simulated_farms import Network, mixed_growth, simulate_farms
from monitoring.analysis.week_scatter import fit_week_scatter
from tests.monitoring.analysis.counts import NONE, K, exactly_known, simulated, weeks_of

NETWORK = WeekScatter(shock=0.3, stays=0.3, counting=1.0, growth=0.15, degrees=12.0, k=K, farms=150)
LEVEL = [40.0, 42, 38, 41, 40, 39, 43, 40]


@pytest.fixture
def rng():
    return np.random.default_rng(20260601)


def one_farm(counts, scatter=NETWORK, **options):
    return forecast(weeks_of(counts), scatter, **options)


class TestWhereTo:
    def test_a_level_farm_stays(self):
        np.testing.assert_allclose(one_farm([LEVEL] * 9).median[0, 1:], 40, rtol=0.05)

    def test_a_rising_farm_goes_on_by_less_than_its_last_weeks_show(self):
        rising = [[40.0 * np.sqrt(2) ** max(t - 4, 0) for t in range(8)]] * 9
        middle = one_farm(rising).middle[0]
        # Part of the last week's height was a shock, and goes; what grows goes on.
        steps = np.diff(middle[1:])
        assert ((steps > 0) & (steps < np.log(2) / 2)).all()
        assert middle[3] > np.log(40 * np.sqrt(2) ** 3)

    def test_a_falling_farm_goes_on_falling(self):
        falling = [[80.0 / np.sqrt(2) ** max(t - 4, 0) for t in range(8)]] * 9
        median = one_farm(falling).median[0, 1:]
        assert median[2] < median[1] < median[0] < 80 / np.sqrt(2) ** 2

    def test_where_no_farm_grows_and_weather_does_not_last_it_is_the_mean_of_the_weeks(self):
        effects = np.array([[0.2, -0.1, 0.4, 0.3, -0.2, 0.0]])
        still = replace(NETWORK, growth=0.0, stays=0.0)
        np.testing.assert_allclose(forecast(exactly_known(effects), still).middle[0, 1:], effects.mean(), atol=1e-7)

    def test_the_unit_is_that_of_the_mean(self):
        doubled = one_farm([[2 * each for each in LEVEL]] * 9, replace(NETWORK, counting=1e-6))
        plain = one_farm([LEVEL] * 9, replace(NETWORK, counting=1e-6))
        np.testing.assert_allclose(doubled.median, 2 * plain.median, rtol=1e-3)

    def test_a_week_not_counted_moves_the_origin_to_the_last_counted_one(self):
        with_gap, without = one_farm([[*LEVEL, NONE]] * 9), one_farm([LEVEL] * 9)
        np.testing.assert_allclose(with_gap.middle, without.middle, atol=2e-3)

    def test_now_is_the_true_level_which_lies_over_the_logs_of_counts(self):
        # By half the variance that counting gives a week; a moment later it is what a round would count.
        weeks = weeks_of([LEVEL])
        now, a_moment_later = forecast(weeks, replace(NETWORK, counting=1.2), ahead=(0.0, 1e-12)).middle[0]
        assert now - a_moment_later == pytest.approx(1.2 * weeks.noise_of_a_week[0] / 2, rel=1e-9)


class TestHowWide:
    def test_it_widens_with_the_weeks_ahead(self):
        spread = one_farm([LEVEL] * 9, ahead=(1.0, 2.0, 3.0, 6.0)).spread[0]
        assert (np.diff(spread) > 0).all()

    def test_now_is_surer_than_the_count_of_next_week(self):
        spread = one_farm([LEVEL] * 2).spread[0]
        assert spread[0] < spread[1]

    def test_fewer_stations_less_sure(self):
        assert one_farm([LEVEL]).spread[0, 1] > one_farm([LEVEL] * 9).spread[0, 1]

    def test_a_rough_farm_is_less_sure_than_a_smooth_one(self):
        rough = [40.0, 90, 20, 80, 30, 100, 25, 60]
        assert one_farm([rough] * 9).spread[0, 2] > one_farm([LEVEL] * 9).spread[0, 2]

    def test_the_interval_holds_the_median_and_a_surer_one_is_wider(self):
        found = one_farm([LEVEL] * 9)
        (low, high), (wide_low, wide_high) = found.interval(0.5), found.interval(0.8)
        assert ((wide_low < low) & (low < found.median) & (found.median < high) & (high < wide_high)).all()

    def test_degrees_are_the_farms_own_and_the_networks(self):
        assert one_farm([LEVEL]).degrees[0] == 7 + 12
        assert one_farm([LEVEL], None).degrees[0] == 7 + PRINTED.degrees

    @pytest.mark.parametrize("level", [0.0, 1.0, -1.0, NONE])
    def test_a_confidence_outside_0_to_1_is_refused(self, level):
        with pytest.raises(ValueError, match=r"^level must"):
            one_farm([LEVEL]).interval(level)

    def test_a_farm_without_scatter_or_growth_has_a_width_all_the_same(self):
        found = forecast(exactly_known(np.zeros(8)), replace(NETWORK, shock=0.0, growth=0.0))
        assert (found.spread > 0).all()


class TestTheChanceOfBeingOver:
    def test_at_the_median_it_is_even_and_falls_with_the_level(self):
        found = one_farm([LEVEL] * 9)
        assert found.probability_over(found.median[0, 1])[0, 1] == pytest.approx(0.5)
        chances = [found.probability_over(level)[0, 1] for level in (10, 30, 50, 100, 1000)]
        assert chances == sorted(chances, reverse=True)
        assert chances[0] > 0.95 and chances[-1] < 0.01

    def test_each_farm_may_have_a_level_of_its_own_or_none(self, rng):
        found = forecast(weeks_of(simulated(rng, farms=3)[0]), NETWORK)
        chances = found.probability_over(np.array([50.0, NONE, 1e6]))
        assert np.isnan(chances[1]).all()
        assert np.isfinite(chances[[0, 2]]).all()
        np.testing.assert_array_equal(chances[0], found.probability_over(50.0)[0])

    @pytest.mark.parametrize("level", [0.0, -5.0])
    def test_a_level_that_is_not_above_zero_is_refused(self, level):
        with pytest.raises(ValueError, match=r"^level must be above zero"):
            one_farm([LEVEL]).probability_over(level)


class TestAhead:
    def test_any_weeks_may_be_asked_for(self):
        found = one_farm([LEVEL] * 3, ahead=(0.5, 2.0))
        assert found.ahead == (0.5, 2.0) and found.middle.shape == (1, 2)
        assert one_farm([LEVEL], ahead=()).middle.shape == (1, 0)

    @pytest.mark.parametrize("ahead", [-1.0, NONE])
    def test_not_those_behind(self, ahead):
        with pytest.raises(ValueError, match=r"^ahead must be weeks from 0; look at index \(1,\)"):
            one_farm([LEVEL], ahead=(1.0, ahead))

    def test_nor_endless_ones(self):
        with pytest.raises(ValueError, match=r"^ahead must"):
            one_farm([LEVEL], ahead=(np.inf,))


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
def test_where_there_is_no_forecast_there_is_a_reason_and_no_number(counts, reason):
    found = one_farm(counts)
    assert found.reason[0] == reason
    low, high = found.interval()
    assert np.isnan([found.middle, found.spread, found.median, low, high, found.probability_over(50.0)]).all()
    crossed = crossings(one_farm(counts, ahead=CROSSING_WEEKS), 50.0, np.array([False]))
    assert crossed.word[0] == reason
    assert np.isnan([crossed.weeks, crossed.soonest, crossed.latest]).all()


def test_no_farms_are_no_forecasts():
    assert forecast(weeks_of(np.ones((0, 3, 8)))).middle.shape == (0, 4)


def test_farms_side_by_side_do_not_touch_each_other():
    both = forecast(weeks_of(np.array([[LEVEL], [[0.0] * 8], [LEVEL[::-1]]])), NETWORK)
    assert both.reason.tolist() == ["", "all_zero", ""]
    np.testing.assert_array_equal(both.middle[2], one_farm([LEVEL[::-1]]).middle[0])


def told(middle, spread=0.1, reason=""):
    """Forecasts of one farm whose log mean goes through these points in the weeks to the horizon."""
    middle = np.array([middle], float)
    return Forecasts(CROSSING_WEEKS, middle, np.full(middle.shape, spread), np.array([20.0]), np.array([reason]))


def crossed(forecasts, level, *, over_now=False):
    found = crossings(forecasts, np.array([level]), np.array([over_now]))
    return str(found.word[0]), float(found.weeks[0]), float(found.soonest[0]), float(found.latest[0])


class TestCrossing:
    climb = np.log([50, 60, 72, 90, 130, 200])

    def test_the_first_week_more_likely_over_than_not(self):
        assert crossed(told(self.climb), 80.0) == ("in_sight", 4, 3, 5)

    def test_the_less_sure_the_farther_apart_soonest_and_latest(self):
        word, week, soonest, latest = crossed(told(self.climb, spread=0.5), 80.0)
        assert (word, week, soonest) == ("in_sight", 4, 1)
        assert latest == 6

    def test_the_latest_may_lie_beyond_the_horizon(self):
        assert crossed(told(self.climb, spread=2.0), 80.0)[3] == np.inf

    def test_not_within_six_weeks_is_not_in_sight(self):
        word, *weeks = crossed(told(self.climb), 300.0)
        assert word == "not_in_sight" and np.isnan(weeks).all()
        assert HORIZON == len(CROSSING_WEEKS) == 6

    def test_over_now_is_what_the_methods_own_comparison_says(self):
        word, *weeks = crossed(told(self.climb), 80.0, over_now=True)
        assert word == "over_now" and np.isnan(weeks).all()

    def test_without_a_level_there_is_nothing_to_cross(self):
        word, *weeks = crossed(told(self.climb), NONE)
        assert word == "no_level" and np.isnan(weeks).all()

    def test_without_a_forecast_its_reason(self):
        assert crossed(told(np.full(6, NONE), reason="too_few_weeks"), 80.0)[0] == "too_few_weeks"

    def test_one_level_may_stand_for_all(self, rng):
        found = forecast(weeks_of(simulated(rng, farms=3)[0]), NETWORK, ahead=CROSSING_WEEKS)
        one, each = (crossings(found, level, np.zeros(3, bool)) for level in (60.0, np.full(3, 60.0)))
        np.testing.assert_array_equal(one.word, each.word)

    def test_unlike_shapes_are_refused(self):
        with pytest.raises(ValueError, match=r"^over_now must have the shape"):
            crossings(told(self.climb), 80.0, np.array([False, True]))


def test_what_the_80_percent_interval_covers_two_weeks_ahead(capsys):
    """Simulated: 40 % level, 30 % rising, 30 % falling farms of 9 stations, shock .3, 8 weeks; scatter of others."""
    rng, network, farms = np.random.default_rng(9), Network(), 3000
    with np.errstate(under="ignore"):
        past = simulate_farms(rng, network, 500, 12, mixed_growth(rng, 500, 12)[0]).counts
        growth, kind = mixed_growth(rng, farms, 8, ahead=2)
        counts = simulate_farms(rng, network, farms, 10, growth).counts
    low, high = forecast(weeks_of(counts[:, :, :8]), fit_week_scatter(weeks_of(past), K)).interval(0.8)
    seen = counts[:, :, 9].mean(axis=1)
    inside = (low[:, 2] <= seen) & (seen <= high[:, 2])
    shares = {name: float(inside[kind == name].mean()) for name in ("level", "rising", "falling")}
    each = ", ".join(f"{100 * share:.0f} % of {name} farms" for name, share in shares.items())
    with capsys.disabled():
        print(f"\n80 % forecasts cover {100 * inside.mean():.1f} % of what is counted in two weeks: {each}")
    assert 0.75 < inside.mean() < 0.85
    assert shares["rising"] >= 0.6


CELLS = st.integers(0, 300).map(float) | st.just(0.0) | st.just(NONE)
SCATTERS = st.sampled_from([None, NETWORK, replace(NETWORK, growth=0.0, stays=0.0)])


@given(arrays(float, (2, 4, 8), elements=CELLS), SCATTERS)
@settings(max_examples=150)
def test_every_farm_has_all_its_numbers_or_a_reason(counts, scatter):
    found = forecast(weeks_of(counts), scatter)
    low, high = found.interval()
    known = (found.reason == "")[:, None].repeat(4, axis=1)
    for number in (found.middle, found.spread, found.median, low, high, found.probability_over(50.0)):
        np.testing.assert_array_equal(np.isfinite(number), known)
    assert (found.spread[known] > 0).all()
    assert ((low <= found.median) & (found.median <= high))[known].all()


@given(arrays(float, (2, 4, 8), elements=CELLS), SCATTERS, st.permutations(range(4)))
def test_the_order_of_stations_changes_nothing(counts, scatter, order):
    one, other = forecast(weeks_of(counts), scatter), forecast(weeks_of(counts[:, order]), scatter)
    np.testing.assert_allclose(one.middle, other.middle, atol=1e-6)
    np.testing.assert_allclose(one.spread, other.spread, atol=1e-6)


@given(arrays(float, (2, 3, 8), elements=CELLS), st.lists(st.floats(1, 2000), min_size=2, max_size=2))
def test_a_crossing_is_explained_and_in_order(counts, levels):
    found = forecast(weeks_of(counts), NETWORK, ahead=CROSSING_WEEKS)
    crossed = crossings(found, np.array(levels), np.array([False, True]))
    assert set(crossed.word.tolist()) <= {"in_sight", "over_now", "not_in_sight", *found.reason.tolist()} - {""}
    in_sight = crossed.word == "in_sight"
    np.testing.assert_array_equal(~np.isnan(crossed.weeks), in_sight)
    assert (crossed.soonest[in_sight] <= crossed.weeks[in_sight]).all()
    assert (crossed.weeks[in_sight] <= crossed.latest[in_sight]).all()
