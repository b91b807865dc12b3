"""What do simulated farms borrow from a network's earlier quarter, and what were their weeks?"""

from dataclasses import asdict, dataclass
from itertools import product
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from monitoring.analysis.correlated_weeks import PRINTED, WeekScatter, two_digits
from monitoring.analysis.farm_weeks import FarmWeeks, farm_weeks_from
from monitoring.analysis.group_list import beside_shared_week
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


@dataclass(frozen=True)
class Lent:
    """What a network lends: how its farms' weeks scatter, and the same beside the week that all farms share."""

    scatter: WeekScatter
    beside: WeekScatter

    @classmethod
    def by(cls, quarter: FarmWeeks, k: float) -> "Lent":
        """Fit both to a quarter whose counts were weighted with this k."""
        return cls(_fitted(quarter, k), _fitted(beside_shared_week(quarter), k))


# What holds where there is no network.
NO_NETWORK = Lent(PRINTED, PRINTED)


def earlier_quarter(rng: np.random.Generator, network: Network, farms: int = LARGE_NETWORK) -> WeekScatter:
    """Give what a network of so many farms lends, from the twelve weeks of its own before those that are judged.

    Its farms are a mix of level, rising and falling ones (`simulated_farms.mixed_growth`); its k is pooled by moments
    from (at most 500 of) them; figures are rounded to two digits, as they are where they are stored. The printed
    ones where fewer than 30 farms could be fitted.
    """
    return _fitted(*_quarter(rng, network, farms))


def earlier_quarter_for_the_list(rng: np.random.Generator, network: Network, farms: int = LARGE_NETWORK) -> Lent:
    """Give the same with what the list needs."""
    return Lent.by(*_quarter(rng, network, farms))


def _quarter(rng: np.random.Generator, network: Network, farms: int) -> tuple[FarmWeeks, float]:
    """Simulate a network's earlier quarter: its farms with enough weeks, and the k that they were fitted with."""
    some = int(farms * SPARE) + 1 if farms < FARMS_FOR_K else farms
    growth, _kind = mixed_growth(rng, some, QUARTER)
    counts = simulate_farms(rng, network, some, QUARTER, growth).counts
    for_k = counts[: min(farms, FARMS_FOR_K)]
    k = two_digits(pooled_k(for_k, np.full(for_k.shape, 7.0)) or PRINTED.k)
    quarter = weeks_of(counts, k)
    return quarter.only(np.flatnonzero(quarter.told)[:farms]), k


def _fitted(quarter: FarmWeeks, k: float) -> WeekScatter:
    scatter = fit_week_scatter(quarter, k)
    return PRINTED if scatter is None else scatter.as_lent
