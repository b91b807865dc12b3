"""How sure a mean of uneven counts is."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitoring.analysis.mean_interval import highest_mean_at_zero, log_t_ends

NONE = float("nan")
MEANS, NUMBERS = st.floats(0.01, 1e5), st.integers(3, 200)


def test_what_has_no_interval_is_missing_and_never_a_number():
    ends = log_t_ends([NONE, 0.0, 5.0, 5.0], [5, 5, 2, 3], [1.0, 0.0, 9.0, 9.0], [1.0, 0.0, 5.0, 5.0])
    for each in (ends.low, ends.high, ends.degrees):
        assert np.isnan(each).tolist() == [True, True, True, False]


@given(MEANS, NUMBERS, st.floats(1.0, 100.0), st.floats(1.01, 10.0))
def test_more_scatter_is_a_wider_interval(mean, number, times, more):
    ends = log_t_ends([mean, mean], number, [times * mean, more * times * mean], mean)
    # Apart, for with three very uneven counts the ends' ratio is beyond the largest float.
    assert (np.diff(np.log(ends.high) - np.log(ends.low)) >= 0).all()
    assert ends.degrees[1] <= ends.degrees[0]


@given(MEANS, NUMBERS, st.floats(0.01, 100.0))
def test_scatter_by_counting_alone_has_the_narrowest_t(mean, number, beyond):
    ends = log_t_ends(mean, number, [mean, mean * (1 + beyond)], mean)
    assert ends.degrees[0] > 1000 * (number - 1)
    assert ends.degrees[1] >= (number - 1) * (1 - 1e-12)


@given(MEANS, NUMBERS, st.floats(1.0, 100.0), st.floats(0.001, 1000.0))
def test_another_unit_changes_the_unit_alone(mean, number, times, unit):
    one = log_t_ends(mean, number, times * mean, mean)
    other = log_t_ends(unit * mean, number, unit**2 * times * mean, unit**2 * mean)
    np.testing.assert_allclose([other.low, other.high], [unit * one.low, unit * one.high], rtol=1e-5)


@given(NUMBERS, st.floats(0.1, 50.0), st.floats(1.1, 5.0))
def test_more_zeros_and_more_even_animals_leave_less_room(number, k, times):
    here = highest_mean_at_zero(number, k)
    assert highest_mean_at_zero(2 * number, k) < here
    assert highest_mean_at_zero(number, k * times) < here


def test_bad_input_is_refused_by_name():
    for level in (0.0, 1.0, NONE):
        with pytest.raises(ValueError, match=r"^level must"):
            log_t_ends(1.0, 5, 1.0, 1.0, level=level)
    with pytest.raises(ValueError, match=r"^k must"):
        highest_mean_at_zero(5, 0.0)
    with pytest.raises(ValueError, match=r"^number must"):
        highest_mean_at_zero([5, 0], 1.0)
    with pytest.raises(ValueError, match=r"^level must"):
        highest_mean_at_zero(5, 1.0, level=1.5)
