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
from monitoring.analysis.disclosure_audit import bounds

VALUES = st.lists(st.floats(min_value=0, max_value=5000), min_size=0, max_size=40)


def test_the_handbooks_first_example_is_unsafe_at_ten_per_cent_though_dominance_passes():
    values = [50_000, 49_000, *[100] * 10]  # 100,000 in all; the second can estimate the first to 2 %
    assert p_percent_unsafe(values, p=10)
    assert not dominance_unsafe(values, n=1, k=90)


def test_the_handbooks_second_example_is_safe_at_ten_per_cent():
    values = [52_000, 50_000, *[800] * 10]  # 110,000 in all; to 15.4 %
    assert not p_percent_unsafe(values, p=10)
    assert p_percent_unsafe(values, p=15.5)


def test_the_handbooks_two_percentages_to_the_digit():
    """2 % and 15.4 %: what is left after the two largest, over the largest."""
    assert p_percent_unsafe([50_000, 49_000, 1_000], p=2.0001) and not p_percent_unsafe([50_000, 49_000, 1_000], p=2)
    second = [52_000, 50_000, 8_000]
    assert p_percent_unsafe(second, p=15.385) and not p_percent_unsafe(second, p=15.384)


def test_the_handbooks_n_k_rule_compares_with_k_per_cent_of_the_total():
    values = [50_000, 49_000, 1_000]
    assert dominance_unsafe(values, n=1, k=49.9) and not dominance_unsafe(values, n=1, k=50)
    assert dominance_unsafe(values, n=2, k=98.9) and not dominance_unsafe(values, n=2, k=99)


def test_the_block_of_geurts_by_linear_programs():
    """Handbook, ch. 4, after Geurts 1992: rows 7 and 3, columns 6 and 4; X11 lies in [3, 6]. The others follow."""
    sums = [[1, 1, 0, 0], [0, 0, 1, 1], [1, 0, 1, 0], [0, 1, 0, 1]]
    found = bounds(sums, [7, 3, 6, 4], [7, 3, 6, 4])
    np.testing.assert_allclose(found, [[3, 6], [1, 4], [0, 3], [0, 3]], atol=1e-6)


def test_two_means_over_eight_farms_and_seven_of_them_give_the_eighth_exactly():
    """The attack by subtraction, as linear programs see it (our own example)."""
    values = np.array([80.0, 95, 120, 60, 140, 75, 110, 90])
    sums = [[1] * 8, [1] * 7 + [0]]
    told = [values.sum(), values[:7].sum()]
    np.testing.assert_allclose(bounds(sums, told, told)[7], [90, 90], atol=1e-6)


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


@given(st.floats(min_value=1e-12, max_value=1e9))
def test_a_rounded_mean_came_from_within_what_is_read_out_of_it(mean):
    low, high = before_rounding(rounded(mean))
    assert low * (1 - 1e-12) <= mean <= high * (1 + 1e-12)
    assert rounded(low * (1 + 1e-9)) == rounded(high * (1 - 1e-9)) == rounded(mean)


@pytest.mark.parametrize("bad", [float("inf"), float("-inf")])
def test_an_infinite_log_ratio_is_refused_and_not_left_out(bad):
    with pytest.raises(ValueError, match="ratios"):
        release_normal([*np.linspace(-1, 1, 12), bad])


@given(VALUES, st.integers(min_value=1, max_value=3))
def test_ten_times_the_flies_and_ten_times_the_level_tell_at_least_as_much(values, power):
    """The floor of five counts weighs less then; what is told is ten times as much."""
    rank = {"nothing": 0, "word": 1, "numbers": 2}
    cell = release(values, 100, at_least=False)
    larger = release([value * 10.0**power for value in values], 100 * 10.0**power, at_least=False)
    assert rank[larger.disclosure] >= rank[cell.disclosure]
    if cell.mean is not None:
        assert larger.mean == pytest.approx(cell.mean * 10.0**power, rel=0.02)


@given(VALUES, st.data())
def test_somebody_who_sees_several_never_makes_it_tell_more(values, data):
    rank = {"nothing": 0, "word": 1, "numbers": 2}
    sees = np.array(data.draw(st.lists(st.booleans(), min_size=len(values), max_size=len(values))), bool)
    cell, watched = release(values, 100, at_least=False), release(values, 100, at_least=False, watchers=[sees])
    assert rank[watched.disclosure] <= rank[cell.disclosure]
    assert watched.share_over is None or watched.share_over == cell.share_over


@given(VALUES)
def test_who_is_told_a_third_is_told_by_value_alone(values):
    cell = release(values, 100, at_least=False)
    if cell.disclosure == "numbers":
        by_value = [third for _value, third in sorted(zip(values, cell.thirds.tolist(), strict=True))]
        assert by_value == sorted(by_value)
        assert all(len(set(cell.thirds[np.array(values) == value])) == 1 for value in set(values))
    else:
        assert cell.thirds.size == 0 and cell.mean is None and cell.middle is None and cell.share_over is None


@given(st.lists(st.booleans(), max_size=200))
def test_a_share_is_told_of_four_on_each_side(flags):
    share = share_to_tenth(flags)
    if share is not None:
        assert 4 <= sum(flags) <= len(flags) - 4
        assert abs(share - sum(flags) / len(flags)) <= 0.05 + 1e-9
