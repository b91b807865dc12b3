"""Do the intervals of the trend hold what they promise? Measured on simulated farms."""

from dataclasses import dataclass
from typing import Any

import numpy as np

from monitoring.analysis.correlated_weeks import PRINTED, WeekScatter
from monitoring.analysis.shapes import Bools, Floats
from monitoring.analysis.simulated_farms import simulate_farms
from monitoring.analysis.trend import fit_trends
from server.calibrate.cells import PROCESSES, Row, mean_of, over_cells, share
from server.calibrate.networks import GRID, Cell, earlier_quarter, weeks_of

LEVEL = 0.95
# Half of the farms are level; the log of the others' counts grows or falls by up to so much a week.
STEEPEST = 0.25
# Networks of a size, each of which judges its part of the farms.
NETWORKS = {"of_100": (100, 15), "of_30": (30, 25)}
QUICK = (Cell(5, 0.15, 0.5, 6, 0.2), Cell(9, 0.3, 0.0, 8, 0.0), Cell(25, 0.3, 0.5, 12, 0.2))


def figures(farms: int, seed: int, *, quick: bool = False, processes: int = PROCESSES) -> dict[str, Any]:
    """Measure the share of 95 % intervals that hold the true growth, on so many farms a cell.

    Each row of "coverage" has a cell of the grid and the shares `large_network` (figures of 5,000 farms), of those the
    `level` and the `growing` farms alone, `of_100` and `of_30` (many networks of that size, each with what it fitted),
    and `no_network`; `told` is the share of farms of which a trend is told at all.
    """
    cells = QUICK if quick else GRID
    return {"farms": farms, "seed": seed, "coverage": over_cells(measure, cells, farms, seed, processes)}


def measure(rng: np.random.Generator, cell: Cell, farms: int) -> Row:
    """Simulate the farms of one cell and judge their intervals by what networks of several sizes lend."""
    some = _Farms.of(rng, cell, farms)
    told, holds = some.judged(earlier_quarter(rng, cell.network))
    row = cell.row(told=float(told.mean()), **share("large_network", holds[told]))
    row |= share("level", holds[told & some.is_level]) | share("growing", holds[told & ~some.is_level])
    for name, (size, networks) in NETWORKS.items():
        each = [part.judged(earlier_quarter(rng, cell.network, size)) for part in some.parts(networks)]
        row |= mean_of(name, [float(holds[told].mean()) for told, holds in each])
    told, holds = some.judged(None)
    return row | share("no_network", holds[told])


@dataclass(frozen=True)
class _Farms:
    """Counts (n_farms, n_stations, n_weeks), and the true growth of the log a week (n_farms,)."""

    counts: Floats
    growth: Floats

    @classmethod
    def of(cls, rng: np.random.Generator, cell: Cell, farms: int) -> "_Farms":
        growth = np.where(np.arange(farms) % 2, rng.uniform(-STEEPEST, STEEPEST, farms), 0.0)
        # About the middle of the window, so that all have the same mean catch.
        middle = np.arange(cell.weeks) - (cell.weeks - 1) / 2
        return cls(simulate_farms(rng, cell.network, farms, cell.weeks, growth[:, None] * middle).counts, growth)

    @property
    def is_level(self) -> Bools:
        return np.asarray(self.growth == 0, np.bool_)

    def parts(self, into: int) -> "list[_Farms]":
        """Give the farms in so many parts, one for each network that judges them."""
        rows = np.array_split(np.arange(len(self.counts)), into)
        return [_Farms(self.counts[some], self.growth[some]) for some in rows]

    def judged(self, lent: WeekScatter | None) -> tuple[Bools, Bools]:
        """Mark the farms of which a trend is told, and those whose interval holds the true growth."""
        weeks = weeks_of(self.counts, (lent or PRINTED).k)
        ends = fit_trends(weeks, lent).interval(LEVEL)
        return weeks.told, np.asarray((ends.low <= self.growth) & (self.growth <= ends.high), np.bool_)
