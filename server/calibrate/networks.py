"""What do simulated farms borrow from a network's earlier quarter, and what were their weeks?"""

from dataclasses import asdict, dataclass, replace
from itertools import product
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from monitoring.analysis.correlated_weeks import PRINTED, WeekScatter
from monitoring.analysis.farm_weeks import FarmWeeks, farm_weeks_from
from monitoring.analysis.pooled_k import pooled_k
from monitoring.analysis.shapes import Floats
from monitoring.analysis.simulated_farms import Network, mixed_growth, simulate_farms
from monitoring.analysis.week_scatter import fit_week_scatter

SHOCKS, CORRELATIONS, STATIONS, WEEKS, MISSING = (0.0, 0.15, 0.3), (0.0, 0.5), (5, 9, 25), (6, 8, 12), (0.0, 0.2)
# How many farms a large network's figures come from (its k from some of them), and over how many weeks.
LARGE_NETWORK, FARMS_FOR_K, QUARTER = 5_000, 500, 12
# A small network has a few farms more than are asked for, so that enough of them are told.
SPARE = 1.3


@dataclass(frozen=True)
class Cell:
    """What is simulated: stations a farm, the shock's standard deviation and its correlation from week to week, weeks
    in the window, the share of cards lost; as in the issue.
    """

    stations: int = 9
    shock: float = 0.3
    correlation: float = 0.0
    weeks: int = 8
    missing: float = 0.0

    @property
    def network(self) -> Network:
        """The same in the simulator's words."""
        return Network(self.stations, self.shock, self.correlation, self.missing)

    def row(self, **measured: Any) -> dict[str, Any]:
        """Give a row of the figures: the cell, and what was measured in it."""
        return asdict(self) | measured


# Without a shock there is nothing that could be correlated: 90 cells of the 108.
GRID = tuple(
    Cell(stations, shock, correlation, weeks, missing)
    for stations, shock, correlation, weeks, missing in product(STATIONS, SHOCKS, CORRELATIONS, WEEKS, MISSING)
    if shock or not correlation
)


def weeks_of(counts: Floats, k: ArrayLike) -> FarmWeeks:
    """Fit the weeks of farms counted every seven days; k one for all, or (n_farms,)."""
    each = np.broadcast_to(np.asarray(k, np.float64), (len(counts),))[:, None, None]
    return farm_weeks_from(counts, np.full(counts.shape, 7.0), 7.0 * np.arange(counts.shape[2]), each)


def earlier_quarter(rng: np.random.Generator, network: Network, farms: int = LARGE_NETWORK) -> WeekScatter:
    """Give what a network of so many farms lends, from the twelve weeks of its own before those that are judged.

    Its farms are a mix of level, rising and falling ones (`simulated_farms.mixed_growth`); its k is pooled by moments
    from (at most 500 of) them; figures are rounded to two digits, as they are where they are stored. The printed
    ones where fewer than 30 farms could be fitted.
    """
    some = int(farms * SPARE) + 1 if farms < FARMS_FOR_K else farms
    growth, _kind = mixed_growth(rng, some, QUARTER)
    counts = simulate_farms(rng, network, some, QUARTER, growth).counts
    for_k = counts[: min(farms, FARMS_FOR_K)]
    k = two_digits(pooled_k(for_k, np.full(for_k.shape, 7.0)) or PRINTED.k)
    quarter = weeks_of(counts, k)
    scatter = fit_week_scatter(quarter.only(np.flatnonzero(quarter.told)[:farms]), k)
    return PRINTED if scatter is None else rounded(scatter)


def rounded(scatter: WeekScatter) -> WeekScatter:
    """Round what a network lends to two digits."""
    return replace(
        scatter,
        shock=two_digits(scatter.shock),
        stays=two_digits(scatter.stays),
        counting=two_digits(scatter.counting),
        growth=two_digits(scatter.growth),
        degrees=two_digits(scatter.degrees),
    )


def two_digits(value: float) -> float:
    """Round to two significant digits.

    Examples
    --------
    >>> two_digits(0.32351), two_digits(39.7)
    (0.32, 40.0)
    """
    return float(f"{value:.2g}")
