"""Pooled effects against statsmodels, and against a published set of trials."""

import numpy as np
import pytest
from statsmodels.stats.meta_analysis import combine_effects

from monitoring.analysis.pooled_effect import pooled_effect

# Thirteen trials of the BCG vaccine (Colditz et al. 1994, JAMA 271:698-702; the table from memory): cases and
# healthy with it, cases and healthy without.
TRIALS = np.array([
    [4, 119, 11, 128], [6, 300, 29, 274], [3, 228, 11, 209], [62, 13536, 248, 12619], [33, 5036, 47, 5761],
    [180, 1361, 372, 1079], [8, 2537, 10, 619], [505, 87886, 499, 87892], [29, 7470, 45, 7232], [17, 1699, 65, 1600],
    [186, 50448, 141, 27197], [5, 2493, 3, 2338], [27, 16886, 29, 17825],
], dtype=float)  # fmt: skip


def log_risk_ratios(trials):
    with_it, healthy_with, without, healthy = trials.T
    ratio = np.log(with_it / (with_it + healthy_with)) - np.log(without / (without + healthy))
    variance = 1 / with_it - 1 / (with_it + healthy_with) + 1 / without - 1 / (without + healthy)
    return ratio, variance


def test_thirteen_trials_as_they_are_often_worked():
    """M: Paule and Mandel's variance 0.3181; by Hartung and Knapp -0.715, error 0.181, -1.109 to -0.321."""
    ratio, variance = log_risk_ratios(TRIALS)
    found = pooled_effect(ratio, np.sqrt(variance))
    assert found.between**2 == pytest.approx(0.3181, abs=5e-5)
    assert (found.log_ratio, found.standard_error) == pytest.approx((-0.715, 0.181), abs=5e-4)
    assert np.log(found.interval()) == pytest.approx([-1.109, -0.321], abs=1e-3)


@pytest.mark.parametrize("seed", range(8))
def test_the_same_as_statsmodels(seed):
    """Statsmodels' iterated variance (Paule and Mandel; it stops early) and its scaled error, where that is wider."""
    rng = np.random.default_rng(seed)
    number = int(rng.integers(2, 9))
    variance = rng.uniform(0.02, 0.4, number)
    effects = rng.normal(-0.5, 0.8, number)
    theirs = combine_effects(effects, variance, method_re="iterated", use_t=True)
    found = pooled_effect(effects, np.sqrt(variance))
    assert found.between**2 == pytest.approx(theirs.tau2, abs=1e-4)
    assert found.log_ratio == pytest.approx(theirs.mean_effect_re, abs=1e-4)
    plain = 1 / np.sqrt((1 / (variance + theirs.tau2)).sum())
    assert found.standard_error == pytest.approx(max(theirs.sd_eff_w_re_hksj, plain), rel=1e-4)
    if theirs.sd_eff_w_re_hksj >= plain:
        assert np.log(found.interval()) == pytest.approx(np.asarray(theirs.conf_int()[3]), abs=1e-3)
