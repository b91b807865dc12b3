"""Several effects taken together, and how sure their mean is."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from monitoring.analysis.pooled_effect import pooled_effect
from tests.full import FULL

EFFECTS = st.lists(st.tuples(st.integers(-200, 200), st.integers(5, 100)), min_size=2, max_size=8)


def pooled(effects, errors):
    return pooled_effect(np.array(effects, float), np.array(errors, float))


def test_fewer_than_two_are_not_pooled():
    for effects, number in (([], 0), ([0.3], 1), ([0.3, np.nan], 1)):
        found = pooled(effects, [0.2] * len(effects))
        assert found.number == number and np.isnan([found.log_ratio, found.standard_error, *found.interval()]).all()


def test_what_is_not_known_is_left_out():
    assert pooled([0.1, np.nan, 0.5], [0.2, 0.1, 0.3]) == pooled([0.1, 0.5], [0.2, 0.3])


@given(EFFECTS)
def test_order_and_sign_change_nothing_else(rows):
    effects, errors = np.array(rows).T / 100
    found, turned, mirrored = pooled(effects, errors), pooled(effects[::-1], errors[::-1]), pooled(-effects, errors)
    assert turned.log_ratio == pytest.approx(found.log_ratio, abs=1e-9)
    assert mirrored.log_ratio == pytest.approx(-found.log_ratio, abs=1e-9)
    assert mirrored.standard_error == pytest.approx(found.standard_error, rel=1e-9)
    assert effects.min() - 1e-9 <= found.log_ratio <= effects.max() + 1e-9


@given(EFFECTS)
def test_it_is_never_surer_than_the_plain_random_effects(rows):
    effects, errors = np.array(rows).T / 100
    found = pooled(effects, errors)
    assert found.standard_error >= 1 / np.sqrt((1 / (errors**2 + found.between**2)).sum()) * (1 - 1e-9)


def test_bad_input_is_refused_by_name():
    with pytest.raises(ValueError, match=r"^standard_error must be above zero"):
        pooled([0.1, 0.2], [0.1, 0.0])
    with pytest.raises(ValueError, match=r"^standard_error must have the shape"):
        pooled([0.1, 0.2], [0.1])
    with pytest.raises(ValueError, match=r"^level must"):
        pooled([0.1, 0.2], [0.1, 0.1]).interval(0)


@pytest.mark.parametrize("number", [2, 3, 6])
@pytest.mark.parametrize("between", [0.0, 0.4])
def test_its_interval_holds_the_mean_about_as_often_as_it_says(number, between):
    """Errors known only from a few weeks, as those of a work are: scaled by a chi-square of eight degrees."""
    rng, times = np.random.default_rng(number), 6_000 if FULL else 600
    held = []
    for _ in range(times):
        true_error = rng.uniform(0.2, 0.6, number)
        effects = -0.7 + between * rng.standard_normal(number) + true_error * rng.standard_normal(number)
        seen = true_error * np.sqrt(stats.chi2.rvs(8, size=number, random_state=rng) / 8)
        low, high = pooled(effects, seen).interval()
        held.append(low <= np.exp(-0.7) <= high)
    # Never below: with two or three the factor that is kept at 1 makes it hold more often.
    assert 0.925 < np.mean(held) <= 1.0
