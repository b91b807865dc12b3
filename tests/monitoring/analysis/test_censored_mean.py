"""Means of counts of which some were too many to count."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitoring.analysis import censored_mean
from monitoring.analysis.censored_mean import DeviceCounts, censored_means, log_chance

NONE = float("nan")


def devices(rows, *, effort=1.0, error=0.0):
    """One owner a row; a number with a plus behind it, as text, is an at-least count."""
    said = [(owner, str(count)) for owner, row in enumerate(rows) for count in row]
    n = len(said)
    return DeviceCounts(
        owner=np.array([owner for owner, _ in said], np.int64),
        counted=np.array([float(count.rstrip("+")) for _, count in said]),
        effort=np.broadcast_to(np.asarray(effort, float), n).copy(),
        at_least=np.array([count.endswith("+") for _, count in said], bool),
        error=np.broadcast_to(np.asarray(error, float), n).copy(),
    )


def ends(row, *, k=1.5, level=0.95, **columns):
    means = censored_means(devices([row], **columns), 1, k=k, level=level)
    return means.low[0], means.middle[0], means.high[0], means.reason[0]


FIVE = [80, 120, 90, 100, "300+"]


def test_an_at_least_count_leaves_both_ends():
    low, middle, high, reason = ends(FIVE)
    assert 50 < low < 120 < middle < 300 < high < 1000
    assert reason == ""


def test_at_least_so_many_is_more_than_so_many():
    assert ends(FIVE)[1] > ends([80, 120, 90, 100, 300])[1]
    assert ends([80, 120, 90, 100, "600+"])[1] > ends(FIVE)[1]


def test_nothing_but_at_least_counts_leaves_a_lower_end_only():
    low, middle, high, reason = ends(["300+"] * 5)
    assert np.isnan(middle) and np.isnan(high) and reason == "at_least"
    # Above 300: where counts are uneven, five in a row over 300 are likelier at a mean well over it.
    assert 200 < low < 500
    # The more of them, the surer that the mean is high.
    assert low < ends(["300+"] * 10)[0] < ends(["300+"] * 40)[0]


def test_at_least_none_says_nothing():
    assert ends([80, 120, 90, "0+"]) == ends([80, 120, 90])
    assert ends(["0+", "0+"])[0] == 0
    assert ends(["300+", "300+", "0+"])[0] == ends(["300+", "300+"])[0]


def test_what_is_missing_is_left_out_and_never_zero():
    assert ends([80, 120, "nan", "300+"]) == ends([80, 120, "300+"])
    assert ends([80, 120, 0, "300+"])[1] < ends([80, 120, "300+"])[1]


def test_who_has_no_count_or_caught_nothing_has_no_ends_and_a_reason():
    counts = devices([["nan"], [0, 0, 0], [0, "0+"], [3, "9+"]])
    means = censored_means(counts, 5)
    assert means.reason.tolist() == ["no_count", "nothing_caught", "nothing_caught", "", "no_count"]
    for each in (means.low, means.middle, means.high):
        assert np.isnan(each).tolist() == [True, True, True, False, True]


def test_no_owner_is_no_result():
    assert censored_means(devices([]), 0).low.shape == (0,)


def test_a_quarter_counted_and_a_cup_are_less_sure_than_all():
    exact = ends([20, 24, 22, 18, 20, "60+"], k=50)
    quarter = ends([5, 6, 5.5, 4.5, 5, "60+"], k=50, effort=[0.25] * 5 + [1])
    cups = ends([20, 24, 22, 18, 20, "60+"], k=50, error=[0.04] * 5 + [0])
    for other in (quarter, cups):
        assert other[2] / other[0] > exact[2] / exact[0]


def test_owners_do_not_touch_each_other(monkeypatch):
    rows = [FIVE, ["300+"] * 4, [5, 0, 1, "9+"], [0, 0], [200, "200+", 150, "300+", 20, 33], ["7+", 1000]]
    alone = [ends(row) for row in rows]
    for at_once in (1, 4, 7, 1000):
        monkeypatch.setattr(censored_mean, "DEVICES_AT_ONCE", at_once)
        means = censored_means(devices(rows), len(rows))
        for place, (low, middle, high, reason) in enumerate(alone):
            found = (means.low[place], means.middle[place], means.high[place])
            np.testing.assert_allclose(found, (low, middle, high), rtol=1e-9)
            assert means.reason[place] == reason


def test_the_order_of_entries_changes_nothing():
    counts = devices([FIVE, [5, 0, 1, "9+"], ["7+", 1000, 400]])
    order = np.random.default_rng(4).permutation(counts.owner.size)
    columns = (counts.owner, counts.counted, counts.effort, counts.at_least, counts.error)
    mixed = censored_means(DeviceCounts(*(column[order] for column in columns)), 3)
    sorted_ = censored_means(counts, 3)
    np.testing.assert_allclose([mixed.low, mixed.high], [sorted_.low, sorted_.high], rtol=1e-9)


ROWS = st.lists(st.integers(0, 2000), min_size=3, max_size=12).filter(lambda row: sum(row) > 0)


@settings(max_examples=40)
@given(ROWS, st.integers(1, 1000))
def test_ends_and_middle_stand_in_order(row, cap):
    low, middle, high, _ = ends([*row, f"{cap}+"])
    assert 0 < low < middle < high < np.inf


@settings(max_examples=40)
@given(ROWS, st.integers(1, 1000), st.floats(0.1, 10))
def test_more_effort_for_the_same_counts_is_a_smaller_mean(row, cap, times):
    one, other = ends([*row, f"{cap}+"]), ends([*row, f"{cap}+"], effort=times)
    np.testing.assert_allclose(np.array(other[:3]) * times, one[:3], rtol=1e-6)


@settings(max_examples=40)
@given(ROWS, st.integers(1, 1000))
def test_a_higher_confidence_is_a_wider_interval(row, cap):
    narrow, wide = ends([*row, f"{cap}+"], level=0.8), ends([*row, f"{cap}+"], level=0.95)
    assert wide[0] < narrow[0] and narrow[2] < wide[2]


@pytest.mark.parametrize("k", [0.05, 0.7, 1.5, 20.0, 1e4])
@pytest.mark.parametrize("row", [[1, "1+", 0], [10**6, "1000000+", 0, 3], ["1+"] * 3, [5000] * 200 + ["5000+"] * 100])
def test_extremes_give_numbers(row, k):
    low, _, high, reason = ends(row, k=k)
    assert 0 < low < np.inf
    assert np.isnan(high) if reason == "at_least" else low < high < np.inf


def test_bad_input_is_refused_by_name():
    good = devices([FIVE])
    for name, wrong in (("counted", -1.0), ("counted", np.inf), ("effort", 0.0), ("effort", NONE), ("error", -0.1)):
        columns = {each: getattr(good, each).copy() for each in ("owner", "counted", "effort", "at_least", "error")}
        columns[name][2] = wrong
        with pytest.raises(ValueError, match=rf"^{name} must"):
            DeviceCounts(**columns)
    with pytest.raises(ValueError, match=r"^effort must have the shape"):
        DeviceCounts(good.owner, good.counted, good.effort[:2], good.at_least, good.error)
    with pytest.raises(ValueError, match=r"^owner must lie"):
        censored_means(devices([FIVE, FIVE]), 1)
    for k in (0.0, np.inf, NONE):
        with pytest.raises(ValueError, match=r"^k must"):
            censored_means(good, 1, k=k)
    with pytest.raises(ValueError, match=r"^level must"):
        censored_means(good, 1, level=1.0)


def test_the_chance_of_nothing_or_more_is_one():
    assert log_chance([0.0], [True], np.array([3.0]), np.array([0.5])) == 0
