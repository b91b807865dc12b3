"""The batched fit of the negative binomial's k against statsmodels, one group at a time, on the same groups.

`figures()` gives the ratio and how many groups were left without their likeliest k; `python -m
tests.bench.negative_binomial` prints them. Runs are interleaved, so that whatever else the machine does weighs on both
sides alike, and the median ratio is told.
"""

import statistics
import time
from collections.abc import Callable
from typing import Any

import numpy as np

from monitoring.analysis.scatter import FittedK, k_by_likelihood, log_likelihood
from tests.reference import negative_binomial_by_statsmodels as reference

RUNS = 5
GROUPS_AT_ONCE, GROUPS_ONE_BY_ONE = 2000, 40
# A likeliest k is no more than this below its neighbours, in log likelihood.
SAME = 1e-8
# Each group is compared with these k beside its own, near and far.
BESIDE = np.exp([-6.0, -3.0, -1.0, -0.3, -0.1, -0.01, 0.01, 0.1, 0.3, 1.0, 3.0, 6.0])

Counts = np.ndarray[Any, Any]


def seconds_a_group(fit: Callable[[], object], groups: int) -> float:
    """Time one run of a fit."""
    start = time.perf_counter()
    fit()
    return (time.perf_counter() - start) / groups


def ratio(runs: int = RUNS) -> float:
    """How many groups the batched fit does in the time statsmodels takes for one."""
    counts = reference.groups(number=GROUPS_AT_ONCE)
    few = [group[~np.isnan(group)] for group in counts[:GROUPS_ONE_BY_ONE]]

    def together() -> object:
        return k_by_likelihood(counts)

    def one_by_one() -> object:
        return [reference.fit(each) for each in few]

    together()
    one_by_one()
    ratios = []
    for _ in range(runs):
        slow = seconds_a_group(one_by_one, GROUPS_ONE_BY_ONE)
        ratios.append(slow / seconds_a_group(together, GROUPS_AT_ONCE))
    return statistics.median(ratios)


def nasty() -> Counts:
    """Groups on which a search may fail: one count high among zeros, counts alike, two counts, a billion, at the limit.

    At the limit the sum of (y - m)^2 is n m, or a hair above it, so that k is infinite, or nearly.
    """
    rows = [
        *([0.0] * n + [high] for n in (1, 4, 19, 39) for high in (1, 2, 5, 300, 1e6, 1e9)),
        *([high] * n + [0.0] for n in (1, 4, 19, 39) for high in (1, 2, 5, 300, 1e6, 1e9)),
        *([high] * n + [high + more] for n in (1, 4, 39) for high in (1, 100, 1e6) for more in (0, 1, 5, 500, 3000)),
        *([high - off, high + off] for high in (1, 2, 4, 100, 10_000) for off in (0.0, 1.0, round(high**0.5))),
        *([0.0] * zeros + [1.0] * ones + [2.0] * twos for zeros, ones, twos in [(9, 1, 0), (1, 0, 1), (9, 9, 2)]),
    ]
    counts = np.full((len(rows), 40), np.nan)
    for number, row in enumerate(rows):
        counts[number, : len(row)] = row
    return counts


def unconverged(counts: Counts) -> int:
    """How many groups have no k though one is likeliest, or one that is less likely than another by more than 1e-8."""
    return int((~_found(counts, k_by_likelihood(counts))).sum())


def _found(counts: Counts, fitted: FittedK) -> np.ndarray[Any, Any]:
    best = -fitted.minus_two_log_likelihood / 2
    around = np.where(np.isfinite(fitted.k), fitted.k, 1.0)
    # Single terms are as large as the counts times their logs: at a billion a digit of the sum is worth 1e-6.
    room = SAME + 1e-15 * np.nansum(counts * np.log1p(counts), axis=1)
    beside = [log_likelihood(counts, np.clip(around * each, 1e-9, 1e29)) for each in BESIDE]
    highest = np.max([*beside, log_likelihood(counts, np.inf)], axis=0)
    with np.errstate(invalid="ignore"):
        return np.asarray((np.isin(fitted.reason, ("", "no_overdispersion"))) & (best >= highest - room))


def figures() -> dict[str, dict[str, Any]]:
    """Name, value, unit and number of runs of every figure of this bench."""
    left = unconverged(reference.groups(number=GROUPS_AT_ONCE, seed=7)) + unconverged(nasty())
    return {
        "negative_binomial.vs_statsmodels": {"value": round(ratio(), 1), "unit": "times as fast", "runs": RUNS},
        "negative_binomial.unconverged": {"value": left, "unit": "groups", "runs": 1},
    }


if __name__ == "__main__":
    for name, figure in figures().items():
        print(f"{name}: {figure['value']} {figure['unit']}, {figure['runs']} runs")
