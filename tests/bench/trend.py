"""The weekly fit of all farms at once against statsmodels, one farm at a time, on the same data.

Both stages on both sides: the weeks by a negative-binomial fit of station and week, then a line through them by
generalised least squares with its interval. `figures()` gives the ratios; `python -m tests.bench.trend` prints them.
Runs are interleaved, so that whatever else the machine does weighs on both sides alike, and the median ratio is told.
"""

import statistics
import time
from collections.abc import Callable
from typing import Any

import numpy as np

from monitoring.analysis.correlated_weeks import ALONE, WeekScatter
from monitoring.analysis.farm_weeks import farm_weeks_from
from monitoring.analysis.trend import fit_trends
from tests.reference import trend_by_statsmodels as reference

RUNS = 5
FARMS_AT_ONCE, FARMS_ONE_BY_ONE, FARMS_COMPARED = 2000, 40, 200
WEEKS = 8
DATES = np.arange(WEEKS) * 7.0
K = 1.5
# As of a network large enough to lend its correlation, too small to lend its scale.
SCATTER = WeekScatter(shock=0.3, stays=0.2, counting=1.0, growth=0.1, degrees=10.0, k=K, farms=50)

Data = tuple[np.ndarray[Any, Any], np.ndarray[Any, Any]]


def data(*, farms: int, weeks_of_zeros: bool, seed: int = 20260601) -> Data:
    """Invented counts and days (farms, 9 stations, 8 weeks), a tenth missing, about 40 a card.

    With weeks of zeros, one or two weeks of every farm are empty; without, none is.
    """
    rng = np.random.default_rng(seed)
    level = 40 * np.exp(0.6 * rng.standard_normal((farms, 9, 1)) + 0.3 * rng.standard_normal((farms, 1, WEEKS)))
    counts = rng.poisson(rng.gamma(K, level / K)).astype(np.float64)
    if weeks_of_zeros:
        empty = np.argsort(rng.random((farms, WEEKS)), axis=1) < rng.integers(1, 3, (farms, 1))
        counts = np.where(empty[:, None, :], 0.0, counts)
    counts[rng.random(counts.shape) < 0.1] = np.nan
    return counts, rng.integers(5, 10, counts.shape).astype(np.float64)


def seconds_a_farm(fit: Callable[[], object], farms: int) -> float:
    """Time one run of a fit."""
    start = time.perf_counter()
    fit()
    return (time.perf_counter() - start) / farms


def ratio(*, weeks_of_zeros: bool, runs: int = RUNS) -> float:
    """How many farms the batched fit does in the time statsmodels takes for one, both stages on both sides."""
    counts, days = data(farms=FARMS_AT_ONCE, weeks_of_zeros=weeks_of_zeros)
    # The rows for statsmodels are made beforehand: only its fits are timed.
    rows = [reference.prepared(counts[farm], days[farm]) for farm in range(FARMS_ONE_BY_ONE)]
    designs = [reference.design(each) for each in rows]

    def together() -> object:
        return fit_trends(farm_weeks_from(counts, days, DATES, K), SCATTER).interval()

    def one_by_one() -> object:
        return [reference.both_stages(each, DATES, K, SCATTER) for each in designs]

    together()
    one_by_one()
    ratios = []
    for _ in range(runs):
        slow = seconds_a_farm(one_by_one, FARMS_ONE_BY_ONE)
        ratios.append(slow / seconds_a_farm(together, FARMS_AT_ONCE))
    return statistics.median(ratios)


def max_abs_difference() -> float:
    """The largest difference in week effects, their covariance, slope, standard error, p-value and interval.

    With and without weeks of zeros, with and without a network.
    """
    worst = 0.0
    for weeks_of_zeros, scatter in ((False, SCATTER), (True, ALONE)):
        counts, days = data(farms=FARMS_COMPARED, weeks_of_zeros=weeks_of_zeros)
        worst = max(worst, reference.largest_difference(counts, days, DATES, k=K, scatter=scatter)[0])
    return worst


def figures() -> dict[str, dict[str, Any]]:
    """Name, value, unit and number of runs of every figure of this bench."""
    return {
        "trend.fit_vs_statsmodels": _times(ratio(weeks_of_zeros=False)),
        "trend.fit_vs_statsmodels_weeks_of_zeros": _times(ratio(weeks_of_zeros=True)),
        "trend.max_abs_difference": {"value": max_abs_difference(), "unit": "absolute", "runs": 1},
    }


def _times(value: float) -> dict[str, Any]:
    return {"value": round(value, 1), "unit": "times as fast", "runs": RUNS}


if __name__ == "__main__":
    for name, figure in figures().items():
        print(f"{name}: {figure['value']} {figure['unit']}, {figure['runs']} runs")
