"""The simulated regions are what their description says."""

import numpy as np
import pytest

from monitoring.analysis.simulated_regions import LEVELS, QUARTER, RegionSeason, simulate_season
from monitoring.methods import METHODS

STILL = RegionSeason(shared=0.0, own=0.0, missing=0.0, changing=0.0)


def season(region=STILL, farms=400, method="trap", seed=5):
    return simulate_season(np.random.default_rng(seed), region, farms, method)


def test_the_same_seed_draws_the_same_season():
    np.testing.assert_array_equal(season().means, season().means)


def test_levels_and_comparisons_are_the_trades():
    assert {code: method.default_level for code, method in METHODS.items()} == LEVELS
    for code, method in METHODS.items():
        assert season(farms=10, method=code).at_least == (method.comparison == "at_least")


def test_farms_differ_by_their_own_level_and_by_counting():
    """Counting on five traps with k 1.5 has a variance of the log of about 1/(1.5 x 5) beside 0.6 squared."""
    logs = np.log(season().means[:, 12] + 1)
    assert np.var(logs) == pytest.approx(0.6**2 + 1 / 7.5, rel=0.2)
    assert np.exp(np.median(logs)) == pytest.approx(LEVELS["trap"], rel=0.15)


def test_one_weather_moves_all_farms_and_lasts():
    region = RegionSeason(own=0.0, missing=0.0, changing=0.0, shared=0.5, stays=0.6)
    moved = []
    for seed in range(40):
        logs = np.log(season(region, farms=40, seed=seed).means + 1).mean(axis=0)
        moved.append(logs - np.log(season(farms=40, seed=1).means + 1).mean(axis=0))
    weather = np.array(moved) - np.mean(moved, axis=0)
    lag_one = (weather[:, 1:] * weather[:, :-1]).sum() / (weather**2).sum()
    assert lag_one == pytest.approx(0.55, abs=0.12)  # 0.6, less what the farms' own levels differ from draw to draw


def test_rounds_are_missing_and_never_zero():
    drawn = season(RegionSeason(missing=0.2, changing=0.0))
    assert np.isnan(drawn.means).mean() == pytest.approx(0.1, abs=0.02)
    assert np.isnan(drawn.means).mean(axis=1).max() < 0.55


def test_some_leave_and_as_many_join_at_the_change_of_the_quarter_only():
    drawn = season(RegionSeason(changing=0.1), farms=30)
    assert set(drawn.cohort.sum(axis=0)) == {30}
    changed = np.flatnonzero((drawn.cohort[:, 1:] != drawn.cohort[:, :-1]).any(axis=0)) + 1
    assert changed.tolist() == [QUARTER]
    assert np.isnan(drawn.means[~drawn.cohort]).all()


def test_a_ratio_is_of_the_weeks_before_and_needs_four():
    drawn = season(farms=10)
    assert np.isnan(drawn.ratios[:, :4]).all() and not np.isnan(drawn.ratios[:, 4:]).any()
    logs = np.log(drawn.means + 0.01 * drawn.level)
    np.testing.assert_allclose(drawn.ratios[:, 9], logs[:, 9] - logs[:, :9].mean(axis=1))


@pytest.mark.parametrize("wrong", [{"missing": 1.0}, {"stays": 1.0}, {"changing": 0.9}])
def test_impossible_regions_are_refused_by_name(wrong):
    with pytest.raises(ValueError, match=next(iter(wrong))):
        RegionSeason(**wrong)


def test_an_unknown_method_is_refused():
    with pytest.raises(ValueError, match="method"):
        season(method="net")
