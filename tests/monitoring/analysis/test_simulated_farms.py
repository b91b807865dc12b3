"""The simulated networks do what they are told, and the same with the same seed."""

import numpy as np
import pytest

from monitoring.analysis.simulated_farms import Network, lasting, mixed_growth, rise_of, simulate_farms


@pytest.fixture(autouse=True)
def draws_may_underflow():
    """NumPy's own gamma draws underflow now and then; nothing else may."""
    with np.errstate(under="ignore"):
        yield


def farms_of(network, farms=300, weeks=8, *, seed=1, growth=None):
    return simulate_farms(
        np.random.default_rng(seed), network, farms, weeks, np.zeros(weeks) if growth is None else growth
    )


class TestCounts:
    def test_the_same_seed_gives_the_same_counts(self):
        one, other = farms_of(Network(missing=0.1), 5), farms_of(Network(missing=0.1), 5)
        np.testing.assert_array_equal(one.counts, other.counts)
        assert not np.array_equal(one.counts, farms_of(Network(missing=0.1), 5, seed=2).counts, equal_nan=True)

    def test_they_are_whole_numbers_from_zero(self):
        counts = farms_of(Network(level=2.0)).counts
        assert counts.shape == (300, 9, 8)
        assert ((counts >= 0) & (counts == np.floor(counts))).all()

    def test_a_lost_card_has_no_count_and_not_a_zero(self):
        counts = farms_of(Network(missing=0.2, level=4000.0, k=20.0)).counts
        assert np.isnan(counts).mean() == pytest.approx(0.2, abs=0.02)
        assert np.nanmin(counts) > 0
        assert not np.isnan(farms_of(Network(missing=0.2).without_loss()).counts).any()

    def test_they_follow_the_weeks_and_places_that_are_told(self):
        farms = farms_of(Network(k=1e6, level=1e5))
        expected = farms.places[:, :, None] + farms.weeks[:, None, :]
        np.testing.assert_allclose(np.log(farms.counts), expected, atol=0.1)

    def test_all_exposures_are_a_week(self):
        farms = farms_of(Network(), 4)
        assert farms.days.shape == farms.counts.shape and (farms.days == 7).all()


class TestWeeks:
    def test_growth_is_added_to_the_shocks(self):
        growth = rise_of(8, lasts=3)
        level, rising = farms_of(Network()), farms_of(Network(), growth=growth)
        np.testing.assert_allclose(rising.weeks - level.weeks, np.broadcast_to(growth, (300, 8)), atol=1e-12)

    def test_each_farm_may_have_a_growth_of_its_own(self):
        growth = 0.01 * np.arange(300.0)[:, None] * np.ones(8)
        np.testing.assert_allclose(
            farms_of(Network(), growth=growth).weeks - farms_of(Network()).weeks, growth, atol=1e-9
        )

    def test_without_shocks_they_are_level(self):
        assert (farms_of(Network(shock=0.0)).weeks == 0).all()

    def test_a_shared_shock_moves_all_farms_alike(self):
        weeks = farms_of(Network(shock=0.0, shared=0.3)).weeks
        assert (weeks == weeks[0]).all() and weeks.std() > 0.05

    def test_farms_unlike_each_other_have_shocks_of_their_own_size(self):
        assert (farms_of(Network(unlike=0.0)).shocks == 0.3).all()
        farms = farms_of(Network(unlike=0.8), 2000)
        quiet, rough = (farms.weeks[rows].std() for rows in (farms.shocks < 0.2, farms.shocks > 0.5))
        assert rough > 3 * quiet

    def test_weather_lasts_as_told(self):
        shocks = lasting(np.random.default_rng(1), (20_000, 4), 0.6)
        np.testing.assert_allclose(np.corrcoef(shocks.T)[0], 0.6 ** np.arange(4), atol=0.03)


class TestGrowth:
    def test_a_rise_fills_the_last_weeks(self):
        np.testing.assert_allclose(rise_of(6, lasts=2, growth=0.1), [0, 0, 0, 0, 0.1, 0.2])
        assert (rise_of(6, lasts=0) == 0).all()
        np.testing.assert_allclose(np.diff(rise_of(4, lasts=3)), np.log(2) / 2)

    def test_of_a_mixture_level_farms_stay_and_the_others_go_on(self):
        growth, kind = mixed_growth(np.random.default_rng(1), 1000, 8, ahead=2)
        assert growth.shape == (1000, 10)
        steps = np.diff(growth, axis=1)
        assert (steps[kind == "level"] == 0).all()
        assert (steps[kind == "rising"] >= 0).all() and (steps[kind == "falling"] <= 0).all()
        last = np.abs(steps[kind != "level"][:, -1])
        assert ((last >= 0.05) & (last <= 0.35)).all()
        np.testing.assert_allclose(steps[:, -1], steps[:, -2], atol=1e-12)


@pytest.mark.parametrize(
    ("name", "value"),
    [(name, value) for name in ("missing", "stays") for value in (-0.1, 1.0, float("nan"), float("inf"))],
)
def test_what_no_network_can_have_is_refused_by_name(name, value):
    with pytest.raises(ValueError, match=f"^{name} must"):
        Network(**{name: value})
