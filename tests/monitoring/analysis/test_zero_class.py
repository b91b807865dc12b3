"""Zeros observed and expected, and k from them."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitoring.analysis.zero_class import k_from_zeros, zero_class

NONE = float("nan")


def test_zeros_are_counted_and_lost_counts_are_not_among_them():
    zeros = zero_class([[0, 0, 3, NONE], [NONE, NONE, NONE, NONE], [2, 1, 5, 1]], 1.0)
    np.testing.assert_allclose(zeros.observed, [2 / 3, NONE, 0])
    # 1/(1 + m) at k = 1, by hand
    np.testing.assert_allclose(zeros.expected, [1 / 2, NONE, 1 / 3.25])


def test_where_k_is_infinite_zeros_are_those_of_chance():
    assert zero_class([[0, 4]], np.inf).expected[0] == pytest.approx(np.exp(-2))


def test_where_k_is_not_known_nothing_is_expected():
    zeros = zero_class([[0, 4], [0, 4]], [NONE, 1.0])
    assert np.isnan(zeros.expected[0]) and zeros.observed[0] == 0.5
    assert zeros.expected[1] == pytest.approx(1 / 3)


def test_a_group_of_zeros_expects_them():
    assert zero_class([[0, 0, 0]], 0.3).expected[0] == 1


def test_high_means_expect_hardly_a_zero_and_bring_no_surprise():
    assert zero_class([[1e9, 1e9]], [np.inf]).expected[0] < 1e-300
    assert zero_class([[1e9, 1e9]], [1e-6]).expected[0] == pytest.approx(1, abs=1e-4)


def test_where_zeros_give_no_number_a_word_says_why():
    found = k_from_zeros([NONE, 1.0, 0.0, 2.0, 1.0, 1.0], [0.5, NONE, 1.0, 0.0, 0.3, 0.47])
    assert found.reason.tolist() == ["no_counts", "no_counts", "all_zero", "no_zeros", "no_overdispersion", ""]
    assert np.isnan(found.k[:4]).all() and found.k[4] == np.inf
    assert found.k[5] == pytest.approx(1.4, abs=0.01)


def test_one_mean_may_be_given_with_one_share():
    assert float(k_from_zeros(1.0, 0.47).k) == pytest.approx(1.4, abs=0.01)


@given(st.floats(1e-3, 1e4), st.floats(0.01, 1e4))
def test_the_zeros_that_a_k_lets_expect_give_that_k_again(mean, k):
    share = np.exp(-min(k * np.log1p(mean / k), 500.0))
    if 1e-200 < share < 1 and mean / k > 1e-3:
        # What 1 - c, near mean / k / 2, has lost of its digits.
        assert k_from_zeros(mean, share).k == pytest.approx(k, rel=1e-6)


@given(st.floats(0.01, 100), st.floats(1e-6, 0.999999))
def test_more_zeros_are_a_smaller_k(mean, share):
    one, other = k_from_zeros(mean, share).k, k_from_zeros(mean, share + (1 - share) / 2).k
    assert 0 < other < one or (other == one == np.inf)


def test_a_share_a_hair_above_chance_is_a_very_large_k():
    found = k_from_zeros(1.0, np.exp(-1.0) * (1 + np.array([1e-15, 1e-12, 1e-9, 1e-6])))
    # 1 - c is about x/2, so that k comes to m/(2 (1 - c)).
    assert found.k[1:] == pytest.approx([5e11, 5e8, 5e5], rel=1e-3)
    assert found.k[0] > 1e13


@pytest.mark.parametrize(
    ("mean", "share", "words"),
    [
        (-1.0, 0.5, "mean must lie"), (np.inf, 0.5, "mean must lie"), (1.0, -0.1, "zero_share must lie"),
        (1.0, 1.1, "zero_share must lie"), (1.0, 1.0, "zero_share must be below 1"), (0.0, 0.5, "zero_share must be 1"),
    ],
)  # fmt: skip
def test_bad_figures_are_refused_by_name(mean, share, words):
    with pytest.raises(ValueError, match=f"^{words}"):
        k_from_zeros(mean, share)


def test_bad_counts_and_k_are_refused_by_name():
    with pytest.raises(ValueError, match=r"^counts must"):
        zero_class([[-1.0]], 1.0)
    with pytest.raises(ValueError, match=r"^k must be above zero"):
        zero_class([[1.0]], 0.0)
