"""How far a farm is from its own normal: the log of its week over its geometric mean (scipy.stats.gmean)."""

import numpy as np
import pytest
from scipy.stats import gmean

from monitoring.analysis.own_normal import START, log_ratios


def test_it_is_the_ratio_to_the_geometric_mean_of_the_weeks_before():
    past = np.random.default_rng(1).lognormal(4, 0.5, (6, 20))
    now = np.full(6, 90.0)
    expected = (now + START * 100) / gmean(past + START * 100, axis=1)
    assert np.exp(log_ratios(now, past, 100.0)) == pytest.approx(expected, rel=1e-12)


def test_a_missing_week_is_left_out_and_never_zero():
    past = np.array([[80.0, np.nan, 80.0, 80.0, np.nan, 80.0]])
    assert log_ratios(np.array([80.0]), past, 100.0) == pytest.approx([0.0])


def test_three_weeks_are_no_normal_and_a_week_without_a_count_has_no_ratio():
    past = np.array([[80.0, 80.0, 80.0, np.nan], [80.0] * 4])
    assert np.isnan(log_ratios(np.array([80.0, np.nan]), past, 100.0)).all()


def test_zero_flies_have_a_ratio_too():
    assert np.isfinite(log_ratios(np.array([0.0]), np.zeros((1, 5)), 100.0)).all()


def test_what_cannot_be_is_refused():
    with pytest.raises(ValueError, match="level"):
        log_ratios(np.array([1.0]), np.ones((1, 5)), 0.0)
    with pytest.raises(ValueError, match="negative"):
        log_ratios(np.array([-1.0]), np.ones((1, 5)), 10.0)
