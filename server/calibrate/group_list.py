"""How many names on a group's list are false, and how many of the farms that rise are on it? In simulated weeks."""

from collections.abc import Iterator
from dataclasses import asdict, dataclass, replace
from itertools import product
from typing import Any

import numpy as np

from monitoring.analysis.correlated_weeks import WeekScatter
from monitoring.analysis.farm_weeks import FarmWeeks
from monitoring.analysis.group_list import GroupList, group_list
from monitoring.analysis.shapes import Floats
from monitoring.analysis.simulated_farms import Network, lasting, rise_of, simulate_farms
from server.calibrate.cells import PROCESSES, Row, mean_of, over_cells
from server.calibrate.networks import NO_NETWORK, Lent, earlier_quarter_for_the_list, weeks_of

SMALL, MIDDLE, VAST = 20, 300, 20_000
RISING, SHARED = (0.0, 0.05, 0.2), (0.0, 0.15)
# What rises has doubled every two weeks for three weeks.
LASTS = 3
# So many weeks are simulated of one group, before another one takes its place.
WEEKS_A_GROUP = 50
# How many level farms, and a quarter of it rising ones, are counted and fitted for the largest groups.
STOCK = 60_000


@dataclass(frozen=True)
class Weather:
    """What is simulated of groups: weeks in the window, correlation, and sd of the shock that all farms share."""

    window: int = 8
    correlation: float = 0.0
    shared: float = 0.0

    @property
    def network(self) -> Network:
        """The same in the simulator's words: nine stations a farm, own shocks of 0.3."""
        return Network(stays=self.correlation, shared=self.shared)


@dataclass(frozen=True)
class Vast:
    """What is simulated of groups of 20,000 farms; the share that rises is one of the cell's own."""

    window: int = 8
    correlation: float = 0.0
    rising: float = 0.0


WEATHERS = tuple(Weather(*each) for each in product((8, 12), (0.0, 0.5), SHARED))
VASTS = tuple(Vast(*each) for each in product((8,), (0.0, 0.5), RISING))


def figures(weeks: int, seed: int, *, quick: bool = False, processes: int = PROCESSES) -> dict[str, Any]:
    """Measure the list over so many weeks of groups of 20 and 300 farms, and a fifth as many of 20,000.

    Each row of "lists" has the group's size, the window, the correlation, the sd of the shared shock, the share of
    farms that rise, how many weeks were `simulated`, `false_share` (the mean over weeks of false names / max(1,
    names)), `names` (their mean number) and `power` (the mean share of risers named, none where none rise). A group of
    20 has no network: the printed figures.
    """
    weathers = (Weather(), Weather(12, 0.5, 0.15)) if quick else WEATHERS
    found = over_cells(of_both_sizes, weathers, weeks, seed, processes)
    if not quick:
        found += over_cells(of_the_vast, VASTS, weeks // 5, seed, processes)
    return {"weeks": weeks, "seed": seed, "lists": [row for cell in found for row in cell["lists"]]}


@dataclass
class _Tally:
    """What the lists of one kind of group said, week by week."""

    false_share: list[float]
    names: list[float]
    power: list[float]

    def add(self, told: GroupList, risers: int) -> None:
        """Add a week, whose last farms are those that rise."""
        rises = np.arange(len(told.named)) >= len(told.named) - risers
        names = int(told.named.sum())
        self.false_share.append(float((told.named & ~rises).sum() / max(1, names)))
        self.names.append(float(names))
        if risers:
            self.power.append(float(told.named[rises].mean()))

    def row(self, **cell: Any) -> Row:
        """Give the row of a cell."""
        power = mean_of("power", self.power) if self.power else {"power": None}
        cell["simulated"] = len(self.false_share)
        return cell | mean_of("false_share", self.false_share) | mean_of("names", self.names) | power


def of_both_sizes(rng: np.random.Generator, weather: Weather, weeks: int) -> Row:
    """Simulate weeks of 300 farms; the first 20 of them are a group without a network."""
    kinds = list(product((SMALL, MIDDLE), RISING))
    tallies = {kind: _Tally([], [], []) for kind in kinds}
    for many in _in_groups(weeks):
        lent = earlier_quarter_for_the_list(rng, weather.network, MIDDLE)
        level, risen = _counted(rng, weather, many)
        for size, borrowed in ((SMALL, NO_NETWORK), (MIDDLE, lent)):
            _judge(tallies, (level, risen), size, borrowed)
    rows = [tally.row(farms=size, rising=share, **asdict(weather)) for (size, share), tally in tallies.items()]
    return {"lists": rows}


def _in_groups(weeks: int) -> Iterator[int]:
    """Give how many weeks are simulated of each group."""
    for start in range(0, weeks, WEEKS_A_GROUP):
        yield min(WEEKS_A_GROUP, weeks - start)


def _counted(rng: np.random.Generator, weather: Weather, weeks: int) -> tuple[Floats, Floats]:
    """Count 300 level farms and those that may rise, (n_weeks, n_farms, n_stations, window) each.

    All farms of a simulated week share its shock; the windows of different simulated weeks are independent.
    """
    network = replace(weather.network, shared=0.0)
    together = weather.shared * lasting(rng, (weeks, weather.window), weather.correlation)
    found = []
    for farms, growth in ((MIDDLE, 0.0), (_risers(MIDDLE, max(RISING)), rise_of(weather.window, lasts=LASTS))):
        each = np.repeat(together, farms, axis=0) + growth
        counts = simulate_farms(rng, network, weeks * farms, weather.window, each).counts
        found.append(counts.reshape(weeks, farms, *counts.shape[1:]))
    return found[0], found[1]


def _risers(farms: int, share: float) -> int:
    return round(farms * share)


def _judge(tallies: dict[tuple[int, float], _Tally], counts: tuple[Floats, Floats], size: int, lent: Lent) -> None:
    """Make the lists of groups of a size, with each share of risers, in every week."""
    most = _risers(size, max(RISING))
    level, risen = (
        weeks_of(each[:, :first].reshape(-1, *each.shape[2:]), lent.scatter.k)
        for each, first in zip(counts, (size, most), strict=True)
    )
    for week in range(len(counts[0])):
        for share in RISING:
            risers = _risers(size, share)
            some = level.only(week * size + np.arange(size - risers))
            more = risen.only(week * most + np.arange(risers))
            tallies[size, share].add(group_list(_joined(some, more), lent.scatter, lent.beside), risers)


def _joined(some: FarmWeeks, more: FarmWeeks) -> FarmWeeks:
    pairs = {name: (value, getattr(more, name)) for name, value in some.__dict__.items()}
    return replace(some, **{name: np.concatenate(pair) for name, pair in pairs.items()})


def of_the_vast(rng: np.random.Generator, cell: Vast, weeks: int) -> Row:
    """Simulate weeks of 20,000 farms.

    To count and fit eight million farms would take an hour: errors of counting are drawn from a stock of fitted farms,
    with their covariance, and the farms' shocks are drawn anew. The shock that all farms share is added to the logs;
    the list is the same with and without it, to rounding, so one run gives both rows (`moved` is the largest change of
    a p-value that it made in the first week). What is lent is fitted beside the week that all farms share, so that it
    is the same there too.
    """
    network = Network(stays=cell.correlation)
    lent = earlier_quarter_for_the_list(rng, network)
    stock, risers = _Stock.of(rng, network, cell.window, lent.scatter), _risers(VAST, cell.rising)
    tally, moved = _Tally([], [], []), 0.0
    for week in range(weeks):
        farms = stock.week(rng, VAST - risers, risers)
        together = max(SHARED) * lasting(rng, (1, cell.window), cell.correlation)[0]
        shifted = replace(farms, effects=farms.effects + together - together.mean())
        told = group_list(shifted, lent.scatter, lent.beside)
        tally.add(told, risers)
        if week == 0:
            moved = float(np.abs(group_list(farms, lent.scatter, lent.beside).p_value - told.p_value).max())
    rows = [tally.row(farms=VAST, **asdict(cell), shared=shared) | {"moved": moved} for shared in SHARED]
    return {"lists": rows}


@dataclass(frozen=True)
class _Stock:
    """Fitted farms whose effects are what the fit was off by: level ones first, then those that rose when counted."""

    network: Network
    errors: FarmWeeks
    rise: Floats

    @classmethod
    def of(cls, rng: np.random.Generator, network: Network, window: int, lent: WeekScatter) -> "_Stock":
        rise = rise_of(window, lasts=LASTS)
        growth = np.repeat([np.zeros(window), rise], [STOCK, STOCK // 4], axis=0)
        drawn = simulate_farms(rng, network, len(growth), window, growth)
        fitted = weeks_of(drawn.counts, lent.k)
        true = drawn.weeks - drawn.weeks.mean(axis=1, keepdims=True)
        return cls(network, replace(fitted, effects=fitted.effects - true), rise)

    def week(self, rng: np.random.Generator, level: int, risers: int) -> FarmWeeks:
        """Draw the farms of a week: errors of counting from the stock, shocks anew; those that rise come last."""
        some = np.concatenate([rng.integers(0, STOCK, level), rng.integers(STOCK, len(self.errors), risers)])
        true = self.network.shock * lasting(rng, (some.size, self.rise.size), self.network.stays)
        true[level:] += self.rise
        farms = self.errors.only(some)
        return replace(farms, effects=farms.effects + true - true.mean(axis=1, keepdims=True))
