"""What is found of a network's scatter, from how many farms, and what moves it."""

import numpy as np
import pytest

from monitoring.analysis.simulated_farms import Network, mixed_growth, simulate_farms
from monitoring.analysis.week_scatter import fit_week_scatter
from tests.monitoring.analysis.counts import NONE, K, exactly_known, weeks_of


def network(farms=300, weeks=8, *, seed=1, changing=False, **options):
    """The weeks of a simulated network, level farms unless said."""
    rng = np.random.default_rng(seed)
    growth = mixed_growth(rng, farms, weeks)[0] if changing else np.zeros(weeks)
    with np.errstate(under="ignore"):
        return weeks_of(simulate_farms(rng, Network(**options), farms, weeks, growth).counts)


class TestHowManyFarms:
    def test_none_under_thirty(self):
        weeks = network(30)
        assert fit_week_scatter(weeks.only(np.arange(29)), K) is None
        found = fit_week_scatter(weeks, K)
        assert found is not None and found.farms == 30 and found.borrowed

    def test_farms_without_a_statement_do_not_count(self):
        counts = np.full((40, 3, 8), 40.0)
        counts[:15, :, 3:] = NONE
        assert fit_week_scatter(weeks_of(counts), K) is None

    def test_none_of_none(self):
        assert fit_week_scatter(weeks_of(np.ones((0, 3, 8))), K) is None
        assert fit_week_scatter(weeks_of(np.zeros((60, 3, 8))), K) is None

    def test_what_they_were_fitted_with_is_kept(self):
        assert fit_week_scatter(network(40), 2.5).k == 2.5


class TestWhatIsFound:
    @pytest.mark.parametrize("shock", [0.15, 0.3])
    @pytest.mark.parametrize("stations", [9, 25])
    def test_the_shock_and_that_weather_does_not_last(self, shock, stations):
        found = fit_week_scatter(network(600, 12, shock=shock, stations=stations), K)
        assert found.shock == pytest.approx(shock, abs=0.03)
        assert found.stays < 0.15
        assert found.counting == pytest.approx(1, abs=0.35)

    @pytest.mark.parametrize("missing", [0.0, 0.2])
    def test_weather_that_lasts(self, missing):
        found = fit_week_scatter(network(600, 12, shock=0.3, stays=0.5, stations=25, missing=missing), K)
        assert found.stays == pytest.approx(0.5, abs=0.17)

    def test_farms_that_rise_and_fall_do_not_pass_for_weather_that_lasts(self):
        found = fit_week_scatter(network(600, 12, shock=0.3, changing=True, stations=25), K)
        assert found.stays < 0.2
        assert found.shock == pytest.approx(0.3, rel=0.15)
        assert 0.1 < found.growth < 0.25

    def test_level_farms_do_not_grow(self):
        assert fit_week_scatter(network(600, 12, stations=25), K).growth < 0.06

    def test_of_farms_alike_the_scale_is_worth_much_and_of_unlike_ones_little(self):
        alike, unlike = (fit_week_scatter(network(400, 12, stations=25, unlike=each), K) for each in (0.0, 0.5))
        assert alike.degrees > 40
        assert 3 < unlike.degrees < 20

    def test_farms_in_which_nothing_moves(self):
        found = fit_week_scatter(weeks_of(np.full((40, 3, 8), 40.0)), K)
        assert found.shock < 1e-6 and found.degrees > 0

    def test_farms_known_exactly(self):
        effects = 0.25 * np.random.default_rng(1).standard_normal((200, 10))
        found = fit_week_scatter(exactly_known(effects), K)
        assert found.shock == pytest.approx(0.25, rel=0.06)


class TestWhatMovesIt:
    def test_not_the_order_of_farms(self):
        weeks = network(60, missing=0.1)
        one, other = fit_week_scatter(weeks, K), fit_week_scatter(weeks.only(np.arange(60)[::-1]), K)
        for name in ("shock", "stays", "counting", "growth", "degrees"):
            assert getattr(one, name) == pytest.approx(getattr(other, name), rel=1e-2, abs=1e-3)

    def test_not_the_levels_of_farms(self):
        rng = np.random.default_rng(2)
        effects = 0.3 * rng.standard_normal((60, 8))
        one, other = (
            fit_week_scatter(exactly_known(each), K) for each in (effects, effects + rng.normal(size=(60, 1)))
        )
        assert one.shock == pytest.approx(other.shock, rel=1e-6)

    def test_farms_with_gaps_are_fitted_with_the_others(self):
        with_gaps = gappy(300)
        found = fit_week_scatter(with_gaps, K)
        assert len(np.unique(with_gaps.used, axis=0)) > 5
        assert found.shock == pytest.approx(0.3, rel=0.2)
        assert found.stays == pytest.approx(0.4, abs=0.2)

    @pytest.mark.parametrize("k", [0.7, 1.5, 10.0])
    def test_a_wrong_k_leaves_the_sum_right_though_counting_may_pass_for_weather(self, k):
        # Weeks equally sure do not tell the two apart: the belief that counting is about 1 does.
        rng = np.random.default_rng(3)
        with np.errstate(under="ignore"):
            weeks = weeks_of(rng.poisson(rng.gamma(k, 40 / k, (400, 9, 12))).astype(float), k=1.5)
        found = fit_week_scatter(weeks, 1.5)
        seen = weeks.effects.var(axis=1, ddof=1).mean()
        assert found.shock**2 + found.counting * weeks.noise_of_a_week.mean() == pytest.approx(seen, rel=0.05)


def gappy(farms):
    """Farms that each miss a week of their own."""
    rng = np.random.default_rng(4)
    with np.errstate(under="ignore"):
        counts = simulate_farms(rng, Network(stations=25, stays=0.4), farms, 12, np.zeros(12)).counts
    counts[np.arange(farms), :, rng.integers(0, 12, farms)] = NONE
    return weeks_of(counts)
