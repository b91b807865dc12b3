"""The fall from single numbers, and when counts are back."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitoring.analysis.efficacy import (
    abbott,
    before_after,
    difference_in_differences,
    henderson_tilton,
    mulla,
    rebound_time,
)

NONE = float("nan")
COUNT = st.integers(1, 5000)


def test_more_after_the_work_is_a_negative_efficacy():
    assert henderson_tilton(20, 40, 20, 20).value == -100
    assert abbott(50, 75).value == -50


def test_nothing_left_is_all_of_it():
    assert henderson_tilton(20, 0, 20, 20).value == 100
    assert abbott(50, 0).value == 100


@pytest.mark.parametrize("formula", [henderson_tilton, mulla])
@pytest.mark.parametrize("counts", [(0, 3, 8, 9), (5, 3, 0, 9), (5, 3, 8, 0), (0, 0, 0, 0)])
def test_zero_under_the_line_is_undefined_and_says_so(formula, counts):
    found = formula(*counts)
    assert np.isnan(found.value)
    assert found.reason == "zero_denominator"


def test_nothing_alive_without_the_work_is_undefined():
    assert abbott(0, 0).reason == "zero_denominator"


@pytest.mark.parametrize("formula", [henderson_tilton, mulla, difference_in_differences])
def test_a_number_that_is_missing_is_not_zero(formula):
    found = formula([30, NONE], [6, 6], [28, 28], [26, 26])
    assert found.reason.tolist() == ["", "not_counted"]
    assert np.isnan(found.value).tolist() == [False, True]


def test_one_pair_of_numbers_carries_no_interval():
    assert {f.why_no_interval for f in (abbott(50, 2), before_after(3, 4), henderson_tilton(1, 2, 3, 4))} == {
        "one_pair"
    }


def test_a_difference_of_counts_is_in_counts_and_needs_no_denominator():
    found = difference_in_differences(0, 10, 0, 4)
    assert (found.value, found.unit, found.reason) == (6, "counts", "")


@pytest.mark.parametrize("wrong", [-1.0, np.inf])
def test_what_is_no_count_is_refused_by_its_name(wrong):
    with pytest.raises(ValueError, match=r"^other_before must be numbers from 0"):
        henderson_tilton(1, 2, wrong, 4)
    with pytest.raises(ValueError, match=r"^treated must"):
        abbott(1, wrong)


@given(COUNT, COUNT, COUNT, COUNT, st.integers(2, 9))
def test_the_ratio_of_ratios_does_not_hang_on_how_many_devices_hang(tb, ta, cb, ca, times):
    one = henderson_tilton(tb, ta, cb, ca).value
    assert henderson_tilton(times * tb, times * ta, cb, ca).value == pytest.approx(one, rel=1e-9, abs=1e-9)


@given(COUNT, COUNT, st.integers(1, 50))
def test_weather_that_moves_both_places_alike_changes_nothing(tb, cb, times):
    assert henderson_tilton(tb, times * tb, cb, times * cb).value == pytest.approx(0, abs=1e-9)


def test_why_there_is_no_time_until_they_are_back():
    found = rebound_time([0.5, 1.0, 0.0, -0.3, 0.5, 0.5, NONE], [0.3, 0.3, 0.3, 0.3, 0.0, -0.2, 0.3])
    assert found.reason.tolist() == [
        "", "nothing_left", "no_fall", "no_fall", "not_growing", "not_growing", "not_known",
    ]  # fmt: skip
    assert np.isnan(found.time).tolist() == [False] + 6 * [True]


@given(st.floats(0.01, 0.999), st.floats(0.01, 2.0))
def test_what_is_left_grows_back_to_where_it_was(gone, growth):
    assert (1 - gone) * np.exp(growth * rebound_time(gone, growth).time) == pytest.approx(1)


def test_a_share_above_all_of_it_is_refused():
    with pytest.raises(ValueError, match=r"^share_gone must be at most 1"):
        rebound_time(1.2, 0.3)
    with pytest.raises(ValueError, match=r"^growth must"):
        rebound_time(0.2, np.inf)
