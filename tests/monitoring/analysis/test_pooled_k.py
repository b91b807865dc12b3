"""One k for a network: from which counts, within which bounds."""

import numpy as np
import pytest

from monitoring.analysis.pooled_k import LARGEST, SMALLEST, pooled_k
from tests.monitoring.analysis.counts import NONE, simulated


def days_of(counts):
    return np.full(counts.shape, 7.0)


def drawn(k, *, farms=200, stations=9, mean=40.0, seed=1):
    rng = np.random.default_rng(seed)
    with np.errstate(under="ignore"):
        return rng.poisson(rng.gamma(k, mean / k, (farms, stations, 8))).astype(float)


@pytest.mark.parametrize(("k", "low", "high"), [(0.6, 0.6, 0.9), (1.5, 1.3, 1.9), (5.0, 4.0, 6.5)])
def test_it_is_near_the_true_one_or_above(k, low, high, capsys):
    found = pooled_k(drawn(k), days_of(drawn(k)))
    with capsys.disabled():
        print(f"\npooled k of counts drawn with {k}: {found:.2f}")
    assert low < found < high


def test_more_even_counts_have_a_larger_one():
    found = [pooled_k(drawn(k), days_of(drawn(k))) for k in (0.5, 1.0, 3.0, 10.0)]
    assert found == sorted(found)


def test_counts_alike_have_the_largest_one():
    alike = np.full((20, 4, 8), 40.0)
    assert pooled_k(alike, days_of(alike)) == LARGEST


def test_it_is_never_below_the_smallest():
    uneven = drawn(0.05, mean=400.0)
    assert SMALLEST <= pooled_k(uneven, days_of(uneven)) < 1


def test_days_up_do_not_pass_for_scatter():
    rng = np.random.default_rng(2)
    days = rng.integers(1, 15, (100, 6, 8)).astype(float)
    assert pooled_k(rng.poisson(20 * days).astype(float), days) == LARGEST


def test_neither_do_stations_and_weeks_that_differ():
    rng = np.random.default_rng(3)
    level = np.exp(rng.normal(4, 1, (100, 6, 1)) + rng.normal(0, 0.5, (100, 1, 8)))
    counts = rng.poisson(level).astype(float)
    assert pooled_k(counts, days_of(counts)) > 30


def test_a_missing_count_is_not_a_zero():
    counts = drawn(5.0)
    lost = np.random.default_rng(4).random(counts.shape) < 0.2
    whole = pooled_k(counts, days_of(counts))
    with_lost = pooled_k(np.where(lost, NONE, counts), days_of(counts))
    with_zeros = pooled_k(np.where(lost, 0.0, counts), days_of(counts))
    assert with_lost == pytest.approx(whole, rel=0.15)
    assert with_zeros < 0.6 * whole


def test_the_order_of_farms_and_stations_changes_nothing():
    counts, days = simulated(np.random.default_rng(5), farms=30)
    whole = pooled_k(counts, days)
    assert pooled_k(counts[::-1, ::-1], days[::-1, ::-1]) == pytest.approx(whole, rel=1e-9)


def test_farms_that_say_nothing_are_left_out():
    counts = drawn(1.5, farms=30)
    more = np.concatenate([counts, np.full((2, 9, 8), NONE), np.zeros((2, 9, 8))])
    assert pooled_k(more, days_of(more)) == pytest.approx(pooled_k(counts, days_of(counts)), rel=1e-9)


@pytest.mark.parametrize(
    "counts",
    [
        np.ones((0, 3, 8)),
        np.ones((2, 0, 8)),
        np.full((3, 3, 8), NONE),
        np.zeros((3, 3, 8)),
        np.full((3, 1, 8), 40.0),
        np.full((3, 4, 1), 40.0),
    ],
    ids=["no farms", "no stations", "all missing", "all zero", "one station", "one week"],
)
def test_too_little_to_say(counts):
    assert pooled_k(counts, days_of(counts)) is None


@pytest.mark.parametrize(
    ("count", "days", "argument"),
    [(-1.0, 7.0, "counts"), (np.inf, 7.0, "counts"), (5.0, 0.0, "days"), (5.0, NONE, "days")],
)
def test_bad_input_is_refused_by_the_name_of_its_argument(count, days, argument):
    counts, exposure = np.full((2, 3, 8), 4.0), np.full((2, 3, 8), 7.0)
    counts[1, 2, 3], exposure[1, 2, 3] = count, days
    with pytest.raises(ValueError, match=f"^{argument} must"):
        pooled_k(counts, exposure)
