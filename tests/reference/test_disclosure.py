"""Disclosure rules against worked examples: Handbook on Statistical Disclosure Control (Hundepool et al.), ch. 4.2."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitoring.analysis.disclosure import (
    before_rounding,
    dominance_unsafe,
    p_percent_unsafe,
    release,
    release_normal,
    rounded,
    share_to_tenth,
)

VALUES = st.lists(st.floats(min_value=0, max_value=5000), min_size=0, max_size=40)


def test_the_handbooks_first_example_is_unsafe_at_ten_per_cent_though_dominance_passes():
    values = [50_000, 49_000, *[100] * 10]  # 100,000 in all; the second can estimate the first to 2 %
    assert p_percent_unsafe(values, p=10)
    assert not dominance_unsafe(values, n=1, k=90)


def test_the_handbooks_second_example_is_safe_at_ten_per_cent():
    values = [52_000, 50_000, *[800] * 10]  # 110,000 in all; to 15.4 %
    assert not p_percent_unsafe(values, p=10)
    assert p_percent_unsafe(values, p=15.5)


@pytest.mark.parametrize(
    ("count", "expected"), [(0, "nothing"), (4, "nothing"), (5, "word"), (9, "word"), (10, "numbers")]
)
def test_the_gate_counts_contributors(count, expected):
    assert release(np.linspace(80, 120, count), 100, at_least=False).disclosure == expected


def test_a_cohort_that_lost_a_member_gives_words_only():
    cell = release(np.linspace(80, 120, 14), 100, at_least=False, words_only=True)
    assert (cell.disclosure, cell.mean, cell.share_over, cell.contributors) == ("word", None, None, "")


def test_one_very_large_contributor_takes_the_numbers_away():
    assert release([5000.0, *[10.0] * 12], 100, at_least=False).disclosure == "word"


def test_all_zero_gives_no_numbers_since_they_would_be_every_farms_number():
    assert release([0.0] * 12, 100, at_least=False).disclosure == "word"


def test_exactly_at_the_level_counts_as_over_only_where_it_is_reached_when_equalled():
    values = [30.0] * 6 + [20.0] * 6
    assert release(values, 30, at_least=True).share_over == 0.5
    assert release(values, 30, at_least=False).share_over is None


@pytest.mark.parametrize("bad", [[float("nan")] * 12, [-1.0] * 12, [float("inf")] * 12])
def test_a_missing_or_impossible_value_is_refused_by_name(bad):
    with pytest.raises(ValueError, match="values"):
        release(bad, 100, at_least=False)


@given(VALUES)
def test_no_number_leaves_with_fewer_than_ten(values):
    cell = release(values, 100, at_least=False)
    if len(values) < 10:
        assert cell.mean is None and cell.share_over is None
    if len(values) < 5:
        assert cell.word == ""


@given(VALUES, st.randoms())
def test_the_order_of_contributors_changes_nothing(values, random):
    shuffled = list(values)
    random.shuffle(shuffled)
    assert release(values, 100, at_least=False) == release(shuffled, 100, at_least=False)


@given(st.floats(min_value=0, max_value=1))
def test_a_share_never_tells_that_all_or_none_are_over(share):
    assert share_to_tenth(share) not in (0.0, 1.0)


@given(st.floats(min_value=1e-12, max_value=1e9))
def test_a_rounded_mean_came_from_within_what_is_read_out_of_it(mean):
    low, high = before_rounding(rounded(mean))
    assert low * (1 - 1e-12) <= mean <= high * (1 + 1e-12)
    assert rounded(low * (1 + 1e-9)) == rounded(high * (1 - 1e-9)) == rounded(mean)


@pytest.mark.parametrize("bad", [float("inf"), float("-inf")])
def test_an_infinite_log_ratio_is_refused_and_not_left_out(bad):
    with pytest.raises(ValueError, match="ratios"):
        release_normal([*np.linspace(-1, 1, 12), bad])
