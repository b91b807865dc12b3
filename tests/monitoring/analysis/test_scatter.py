"""k of counts: its reasons, its Poisson limit, and that it is the likeliest one; see also tests/reference."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitoring.analysis.scatter import k_by_likelihood, k_by_moments, log_likelihood, shared_k, shared_k_adjusted

NONE = float("nan")
COUNTS = st.lists(st.integers(0, 3000), min_size=2, max_size=30)
FEW = st.lists(st.integers(0, 12), min_size=2, max_size=30)
GROUPS = st.lists(FEW, min_size=1, max_size=6)
FITS = [k_by_likelihood, lambda counts: shared_k(counts, np.arange(len(counts)), len(counts))]


@pytest.fixture
def rng():
    return np.random.default_rng(20260601)


def padded(groups, width=30):
    """Lists of counts as one array, NaN behind."""
    return np.array([[*map(float, group), *[NONE] * (width - len(group))] for group in groups])


def drawn(rng, *, k, mean, groups, values):
    """Negative-binomial counts (groups, values)."""
    mean = np.broadcast_to(mean, (groups, 1))
    with np.errstate(under="ignore"):
        return rng.poisson(rng.gamma(k, mean / k, (groups, values))).astype(float)


def scatters_more_than_chance(group):
    """In whole numbers: n times the sum of squares above the square of the sum and n times the sum."""
    return len(group) * sum(y * y for y in group) > sum(group) ** 2 + len(group) * sum(group)


def test_k_by_moments_is_the_formula():
    # By hand: mean 4, squares of the differences 16 + 4 + 0 + 36 = 56, variance 56/3; 16 / (56/3 - 4)
    found = k_by_moments([[0, 2, 4, 10]])
    assert (found.mean[0], found.variance[0], found.values[0], found.reason[0]) == (4, pytest.approx(56 / 3), 4, "")
    assert found.k[0] == pytest.approx(16 / (56 / 3 - 4))


def test_k_by_moments_takes_rates_as_they_are():
    # By hand: mean 5, squares of the differences 20.25 + 6.25 + 1 + 64 = 91.5, variance 30.5; 25 / 25.5
    assert k_by_moments([[0.5, 2.5, 4.0, 13.0]]).k[0] == pytest.approx(25 / 25.5)


@pytest.mark.parametrize("method", [k_by_moments, *FITS])
def test_where_there_is_no_number_a_word_says_why(method):
    rows = padded([[], [7], [0], [0, 0, 0], [5, 5, 5, 5], [0, 9]], 4)
    found = method(rows)
    assert found.reason.tolist() == [
        "no_counts", "too_few_counts", "too_few_counts", "all_zero", "no_overdispersion", "",
    ]  # fmt: skip
    assert np.isnan(found.k[:4]).all()
    assert found.k[4] == np.inf and 0 < found.k[5] < 1
    assert found.values.tolist() == [0, 1, 1, 3, 4, 2]


def test_a_k_that_is_infinite_has_the_poisson_likelihood_and_no_standard_error():
    found = k_by_likelihood([[5, 5, 5, 5]])
    assert np.isnan(found.standard_error[0])
    # e^-5 5^5/5! four times, by hand
    assert found.minus_two_log_likelihood[0] == pytest.approx(-8 * (5 * np.log(5) - 5 - np.log(120)))


def test_without_a_k_there_is_no_likelihood():
    assert np.isnan(k_by_likelihood(padded([[], [7], [0, 0]], 2)).minus_two_log_likelihood).all()


def test_a_lost_count_is_in_no_sum_and_no_zero():
    full, lost, zero = [3, 0, 12, 5], [3, 0, 12, 5, NONE], [3, 0, 12, 5, 0]
    for method in (k_by_moments, *FITS):
        one, other = method(padded([full], 5)).k[0], method(padded([lost], 5)).k[0]
        assert one == other != method(padded([zero], 5)).k[0]


@given(COUNTS, st.randoms())
def test_the_order_of_counts_changes_nothing(group, random):
    shuffled = group.copy()
    random.shuffle(shuffled)
    one, other = k_by_likelihood(padded([group])), k_by_likelihood(padded([shuffled]))
    np.testing.assert_allclose(one.k, other.k, rtol=1e-6)
    assert one.reason == other.reason


@given(GROUPS)
def test_many_groups_at_once_are_each_by_itself(groups):
    together = k_by_likelihood(padded(groups))
    for number, group in enumerate(groups):
        alone = k_by_likelihood(padded([group]))
        assert together.reason[number] == alone.reason[0]
        np.testing.assert_allclose(together.k[number], alone.k[0], rtol=1e-9)
        np.testing.assert_allclose(together.standard_error[number], alone.standard_error[0], rtol=1e-9)


@given(st.one_of(FEW, COUNTS))
def test_k_is_finite_just_where_counts_scatter_more_than_by_chance(group):
    if sum(group) > 0:
        assert np.isfinite(k_by_likelihood(padded([group])).k[0]) == scatters_more_than_chance(group)


@given(st.one_of(FEW, COUNTS))
def test_no_other_k_is_likelier(group):
    counts = padded([group])
    found = k_by_likelihood(counts)
    if sum(group) > 0:
        best = -found.minus_two_log_likelihood[0] / 2
        around = found.k[0] if np.isfinite(found.k[0]) else 1.0
        others = [around * factor for factor in np.geomspace(1e-3, 1e3, 25)]
        assert best >= max(log_likelihood(counts, min(k, 1e29))[0] for k in [*others, np.inf]) - 1e-9


@given(st.one_of(FEW, COUNTS))
def test_the_standard_error_is_the_curvature_of_the_likelihood(group):
    counts = padded([group])
    found = k_by_likelihood(counts)
    if found.reason[0] == "" and found.k[0] < 1e4:
        k, step = found.k[0], 1e-3
        low, middle, high = (log_likelihood(counts, k * np.exp(off))[0] for off in (-step, 0, step))
        curve = (low - 2 * middle + high) / step**2
        if curve < -1e-3:
            assert found.standard_error[0] / k == pytest.approx(1 / np.sqrt(-curve), rel=2e-3)


@given(st.one_of(FEW, COUNTS), st.floats(1e8, 1e12))
def test_a_very_large_k_is_chance(group, k):
    """The Poisson limit: log L comes to Poisson's as 1/k, without losing its digits on the way."""
    counts = padded([group])
    pairs = sum(y * y for y in group) + sum(group) ** 2
    assert log_likelihood(counts, k)[0] == pytest.approx(log_likelihood(counts, np.inf)[0], abs=pairs / k + 1e-9)


def test_counts_near_a_billion_and_groups_at_the_limit_bring_no_surprise():
    rows = padded([[0] * 29 + [10**9], [10**9] * 30, [10**9, 0], [10**9 - 1, 10**9], [10**6] * 29 + [10**6 + 6000]])
    found = k_by_likelihood(rows)
    assert np.isin(found.reason, ["", "no_overdispersion"]).all()
    assert found.k[0] < 0.01 and found.k[1] == np.inf


def test_one_group_that_shares_with_nobody_has_its_own_k():
    counts = padded([[0, 3, 1, 8, 20], [4, 4, 9, 1, 0]], 6)
    one, other = k_by_likelihood(counts), shared_k(counts, [1, 0], 2)
    np.testing.assert_allclose(other.k, one.k[::-1], rtol=1e-9)
    np.testing.assert_allclose(other.standard_error, one.standard_error[::-1], rtol=1e-6)


@given(FEW)
def test_two_groups_alike_share_what_each_has_on_half_the_variance(group):
    one, two = k_by_likelihood(padded([group])), shared_k(padded([group, group]), [0, 0], 1)
    assert one.reason[0] == two.reason[0]
    np.testing.assert_allclose(two.k, one.k, rtol=1e-6)
    np.testing.assert_allclose(two.standard_error, one.standard_error / np.sqrt(2), rtol=1e-4)


@given(GROUPS)
def test_a_shared_k_is_the_likeliest_that_all_can_have(groups):
    counts, owner = padded(groups), np.zeros(len(groups), int)
    found = shared_k(counts, owner, 1)
    if np.isfinite(found.minus_two_log_likelihood[0]):
        best = -found.minus_two_log_likelihood[0] / 2
        for k in [*np.geomspace(1e-3, 1e5, 60), np.inf]:
            assert best >= log_likelihood(counts, k).sum() - 1e-9


def test_of_two_maxima_the_higher_one_is_shared():
    """One 9 among 99 zeros wants k near 0.01, a hundred counts about 50 want a large one: together they have both."""
    uneven, even = [0.0] * 99 + [9.0], [float(35 + n % 31) for n in range(100)]
    grid, peaks = np.geomspace(1e-3, 1e4, 400), []
    for copies in (1, 2, 5, 10, 20, 40):
        counts = np.array([even, *[uneven] * copies])
        along = np.array([log_likelihood(counts, k).sum() for k in grid])
        peaks.append(int(((along[1:-1] > along[:-2]) & (along[1:-1] > along[2:])).sum()))
        found = shared_k(counts, np.zeros(len(counts), int), 1)
        assert -found.minus_two_log_likelihood[0] / 2 >= along.max() - 1e-9
    assert max(peaks) == 2


def test_groups_of_zeros_or_nothing_change_no_shared_k():
    counts = padded([[0, 3, 1, 8, 20], [0, 0, 0], []], 6)
    for fit in (shared_k, shared_k_adjusted):
        one, all_three = fit(counts[:1], [0], 1), fit(counts, [0, 0, 0], 1)
        assert all_three.k[0] == pytest.approx(one.k[0], rel=1e-6)


def test_a_single_count_pulls_the_likeliest_k_and_not_the_adjusted_one():
    counts = padded([[0, 3, 1, 8, 20], [7]], 6)
    assert shared_k(counts, [0, 0], 1).k[0] > 1.2 * shared_k(counts[:1], [0], 1).k[0]
    one, both = shared_k_adjusted(counts[:1], [0], 1), shared_k_adjusted(counts, [0, 0], 1)
    assert both.k[0] == pytest.approx(one.k[0], rel=1e-9)


def test_single_counts_have_nothing_to_share():
    assert shared_k(padded([[7], [9], [0]], 2), [0, 0, 0], 1).reason[0] == "too_few_counts"
    assert shared_k(padded([[0, 0], [0]], 2), [0, 0], 1).reason[0] == "all_zero"
    assert shared_k(padded([[0, 0], [5]], 2), [0, 0], 1).reason[0] == "too_few_counts"


def test_an_owner_without_groups_has_no_counts():
    found = shared_k_adjusted(padded([[1, 9, 0]]), [1], 3)
    assert found.reason.tolist() == ["no_counts", "", "no_counts"]
    assert np.isnan(found.k[[0, 2]]).all()


@given(st.lists(st.integers(0, 12), min_size=4, max_size=4).filter(any), st.integers(1, 5))
def test_the_adjusted_k_is_infinite_where_variances_are_no_more_than_means(group, copies):
    """For groups alike the adjustment asks s^2 > m with n - 1 below the line, where the likelihood asks it with n."""
    counts = np.array([group] * copies, float)
    off = sum((4 * y - sum(group)) ** 2 for y in group)
    more = off > 12 * sum(group)
    adjusted = shared_k_adjusted(counts, [0] * copies, 1).k[0]
    assert np.isfinite(adjusted) == more
    if more:
        assert adjusted <= shared_k(counts, [0] * copies, 1).k[0]


def bias(rng, *, values, groups, mean, k=1.4, repeats=200):
    """Median of both shared estimates over simulated owners; means scatter by a factor of 1.6 from group to group."""
    means = mean * np.exp(0.5 * rng.standard_normal((repeats * groups, 1)))
    counts = drawn(rng, k=k, mean=means, groups=repeats * groups, values=values)
    owner = np.repeat(np.arange(repeats), groups)
    return [float(np.median(fit(counts, owner, repeats).k)) for fit in (shared_k, shared_k_adjusted)]


@pytest.mark.parametrize(("values", "groups", "mean"), [(12, 30, 10), (5, 30, 10), (12, 30, 2), (9, 100, 40)])
def test_the_adjusted_k_has_hardly_any_bias_where_the_likeliest_has_much(rng, capsys, values, groups, mean):
    likeliest, adjusted = bias(rng, values=values, groups=groups, mean=mean)
    with capsys.disabled():
        print(
            f"\nshared k, true 1.4, {groups} groups of {values} counts, mean {mean}: "
            f"likeliest {likeliest:.2f}, adjusted {adjusted:.2f}"
        )
    assert likeliest > 1.5
    assert adjusted == pytest.approx(1.4, rel=0.05)


@settings(max_examples=20)
@given(st.sampled_from(FITS), st.sampled_from([-1.0, np.inf, -np.inf, 2e9]))
def test_bad_counts_are_refused_by_name(fit, bad):
    for method in (fit, k_by_moments):
        with pytest.raises(ValueError, match=r"^counts must be numbers from 0.*index \(0, 1\)"):
            method([[1.0, bad, 3.0]])


def test_what_is_not_whole_or_not_a_table_is_refused():
    for fit in FITS:
        with pytest.raises(ValueError, match=r"^counts must be whole"):
            fit(np.array([[1.0, 2.5]]))
    with pytest.raises(ValueError, match=r"^counts must have two axes"):
        k_by_likelihood([1.0, 2.0])
    with pytest.raises(ValueError, match=r"^owner must lie"):
        shared_k([[1.0, 2.0]], [1], 1)
    with pytest.raises(ValueError, match=r"^owner must have the shape"):
        shared_k([[1.0, 2.0]], [0, 0], 1)
    for k in (0.0, -1.0, NONE, 1e40):
        with pytest.raises(ValueError, match=r"^k must lie"):
            log_likelihood([[1.0, 2.0]], k)


def test_nothing_at_all_gives_nothing():
    assert k_by_likelihood(np.zeros((0, 5))).k.shape == (0,)
    assert k_by_moments(np.zeros((3, 0))).reason.tolist() == ["no_counts"] * 3
    assert k_by_likelihood(np.zeros((3, 0))).reason.tolist() == ["no_counts"] * 3
    assert shared_k(np.zeros((0, 5)), np.zeros(0, int), 2).reason.tolist() == ["no_counts"] * 2
