"""How many cards, traps or animals are enough."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from monitoring.analysis.counting_plan import (
    Scatter,
    counting_plan,
    crowding_line,
    decision_lines,
    precision_reached,
    scatter_between_devices,
    scatter_by_taylor,
    stop_total,
    units_needed,
)
from tests.monitoring.analysis.farms import grid, owned_by_one

NONE = float("nan")


def own(counts, **columns):
    weeks = grid(counts, **columns)
    found = scatter_between_devices(weeks, owned_by_one(weeks), 1)
    return found.relative_variance[0], found.degrees[0]


def plan(scatter=NONE, degrees=0, mean=50.0, devices=5, method="card", **more):
    made = counting_plan(
        Scatter(np.array([scatter]), np.array([degrees])), np.array([mean]), np.array([devices]), method=method,
        precision=more.pop("precision", 0.15), **more,
    )  # fmt: skip
    return made.needed[0], made.reached[0], made.source[0], made.reason[0]


def test_a_farms_own_scatter_is_taken_over_its_weeks_by_their_degrees():
    # Week 1: 10, 20, 30 (s2 100, m 20); week 2: 10, 30 (s2 200, m 20).
    assert own([[10, 10], [20, 30], [30, NONE]]) == pytest.approx(((2 * 100 / 400 + 1 * 200 / 400) / 3, 3))


def test_a_lost_card_is_not_a_zero():
    assert own([[10], [20], [30], [NONE]]) == own([[10], [20], [30]])
    assert own([[10], [20], [30], [0]])[0] > own([[10], [20], [30]])[0]


def test_weeks_that_can_not_say_are_left_out():
    known = own([[10], [20], [30]])
    assert own([[10, 0], [20, 0], [30, 0]]) == known
    assert own([[10, 5], [20, NONE], [30, NONE]]) == known
    assert own([[10, 300], [20, 20], [30, 10]], at_least=[0, 1, 0, 0, 0, 0]) == known
    assert np.isnan(own([[0], [0]])[0]) and own([[NONE], [NONE]])[1] == 0


def test_farms_are_taken_at_once():
    weeks = grid([[10], [30], [5], [5]])
    found = scatter_between_devices(weeks, np.array([0, 0, 2, 2]), 3)
    np.testing.assert_allclose(found.relative_variance, [0.5, NONE, 0.0])
    assert found.degrees.tolist() == [1, 0, 1]


def test_the_farms_own_scatter_goes_before_the_groups_law_and_that_before_what_is_printed():
    assert plan(0.09, 4, taylor=(1.0, 1.0))[2:] == ("own", "")
    assert plan(0.09, 3, taylor=(1.0, 1.0))[2:] == ("taylor", "")
    assert plan(0.09, 3)[2:] == ("published", "")
    # 0.09 / 0.15^2 = 4
    assert plan(0.09, 4)[:2] == pytest.approx((4, (0.09 / 5) ** 0.5))


def test_leg_counts_of_which_nothing_is_known_say_so():
    needed, reached, source, reason = plan(method="leg")
    assert np.isnan([needed, reached]).all() and (source, reason) == ("none", "too_few_data")
    assert plan(0.8, 9, method="leg")[2:] == ("own", "")


@pytest.mark.parametrize("mean", [0.0, NONE])
def test_at_a_mean_of_zero_or_none_the_law_says_nothing(mean):
    assert plan(mean=mean, taylor=(3.0, 1.5))[2] == "published"
    assert np.isnan(scatter_by_taylor(mean, 3.0, 1.5))


def test_without_a_device_no_precision_is_reached_but_one_can_be_planned():
    needed, reached, *_ = plan(devices=0)
    assert needed == 12 and np.isnan(reached)


def test_devices_that_are_all_alike_still_need_one():
    assert units_needed(0.0, 0.15) == 1


@given(st.floats(0.001, 50), st.floats(0.02, 1), st.floats(1.01, 3))
def test_a_finer_precision_never_needs_fewer(scatter, precision, times):
    assert units_needed(scatter, precision) >= units_needed(scatter, precision * times)
    assert units_needed(scatter, precision, t=times) >= units_needed(scatter, precision)


@given(st.floats(0.001, 50), st.floats(0.02, 1))
def test_what_is_needed_reaches_it_and_one_fewer_does_not(scatter, precision):
    n = float(units_needed(scatter, precision))
    assert precision_reached(scatter, n) <= precision * (1 + 1e-6)
    assert n == 1 or precision_reached(scatter, n - 1) > precision * (1 - 1e-6)


@given(arrays(float, (5, 3), elements=st.integers(0, 60).map(float) | st.just(NONE)), st.permutations(range(5)))
def test_the_order_of_stations_changes_nothing(counts, order):
    np.testing.assert_allclose(own(counts), own(counts[list(order)]), rtol=1e-9, atol=1e-12)


@given(arrays(float, (4, 2), elements=st.integers(0, 60).map(float)), st.integers(2, 9))
def test_scaling_counts_and_days_alike_changes_nothing(counts, times):
    np.testing.assert_allclose(own(counts), own(counts * times, days=7.0 * times), rtol=1e-9, atol=1e-12)


def test_scatter_that_floats_can_hardly_hold_is_no_surprise():
    assert np.isfinite(scatter_by_taylor([1e-300, 1e300], 3.0, 1.0)).all()
    assert np.isfinite(stop_total([1, 10**9], 0.001, 1e9, 1.999999)).all()
    assert np.isfinite(units_needed(scatter_by_taylor(1e-300, 1e9, 1.0), 0.001, t=1e9))


def test_a_line_of_crowding_needs_three_samples_of_different_means():
    for mean in ([1.0, 2.0], [2.0, 2.0, 2.0], [0.0, 0.0, 1.0, 2.0], [1.0, 2.0, NONE]):
        line = crowding_line(np.array(mean), np.array(mean) * 2)
        assert np.isnan([line.alpha, line.beta]).all() and line.reason == "too_few_data"
    assert crowding_line(np.array([1.0, 2.0, 3.0]), np.array([2.0, 6.0, NONE])).samples == 2


def test_few_animals_leave_no_room_below():
    lines = decision_lines([1, 100], 10.0, 0.0, 1.7)
    assert lines.low[0] < 0 < lines.low[1] < 1000 < lines.high[1]


@pytest.mark.parametrize(
    ("call", "named"),
    [
        (lambda: units_needed(-1.0, 0.1), "relative_variance"),
        (lambda: units_needed(np.inf, 0.1), "relative_variance"),
        (lambda: units_needed(1.0, 0.0), "precision"),
        (lambda: units_needed(1.0, NONE), "precision"),
        (lambda: units_needed(1.0, 0.1, t=-1.0), "t must"),
        (lambda: precision_reached(1.0, -1), "units"),
        (lambda: precision_reached(1.0, np.inf), "units"),
        (lambda: scatter_by_taylor(-1.0, 1.0, 1.0), "mean"),
        (lambda: scatter_by_taylor(np.inf, 1.0, 1.0), "mean"),
        (lambda: scatter_by_taylor(1.0, 0.0, 1.0), "a must"),
        (lambda: scatter_by_taylor(1.0, 1.0, np.inf), "b must"),
        (lambda: stop_total(0, 0.1, 1.0, 1.0), "units"),
        (lambda: stop_total(5, 0.1, 1.0, 2.1), "b must"),
        (lambda: stop_total(5, 0.1, 1.0, 0.0), "b must"),
        (lambda: decision_lines(0, 10.0, 0.0, 1.0), "units"),
        (lambda: decision_lines(5, 0.0, 0.0, 1.0), "level"),
        (lambda: decision_lines(5, 10.0, -1.0, 1.0), "alpha and beta"),
        (lambda: decision_lines(5, 10.0, NONE, 1.0), "alpha and beta"),
        (lambda: crowding_line(np.array([-1.0]), np.array([1.0])), "mean"),
        (lambda: crowding_line(np.array([1.0]), np.array([np.inf])), "variance"),
        (lambda: crowding_line(np.array([1.0]), np.array([1.0, 2.0])), "variance"),
        (lambda: plan(mean=-1.0, taylor=(1.0, 1.0)), "mean"),
        (lambda: plan(devices=-1), "units"),
    ],
)
def test_bad_input_is_refused_by_name(call, named):
    with pytest.raises(ValueError, match=f"^{named}"):
        call()


def test_bad_owners_are_refused():
    weeks = grid([[1.0]])
    with pytest.raises(ValueError, match=r"^owner must lie"):
        scatter_between_devices(weeks, np.array([3]), 1)
    with pytest.raises(ValueError, match=r"^owner must have the shape"):
        scatter_between_devices(weeks, np.array([0, 0]), 1)
