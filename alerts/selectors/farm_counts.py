"""Farms' own counts as arrays, one method a block: what station effects and the chart of own weeks are worked out from.

Read as whoever asks may read: row security holds.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING
from uuid import UUID

import numpy as np

from alerts.models import BorrowedFigures
from alerts.selectors.borrowed import figures_of_group
from monitoring.analysis.correlated_weeks import PRINTED, WeekScatter
from monitoring.analysis.rates import StationWeeks
from monitoring.analysis.shapes import Bools, Floats, Ints
from monitoring.arrays import CheckArrays, readings_for_check
from monitoring.methods import METHODS
from monitoring.station_grid import station_grid

if TYPE_CHECKING:
    from farms.models import Farm

DAYS_A_WEEK = 7


@dataclass(frozen=True)
class MethodCounts:
    """One method on some farms, the last week in the last column; arrays are (n_farms, n_stations, n_weeks).

    `farms` (n_farms,) -- the farms that use it. `station` (n_farms, n_stations) -- index into the arrays' stations, -1
    = padding. `counts`, `days` and `k` are what `farm_weeks_from` and `station_effects` take; seven times the animals
    stand for the days of leg counts, so that a rate a week is one an animal. `dates` (n_farms, n_weeks) -- in days.
    `doubtful` (n_farms, n_weeks) -- a leg count on sprayed animals or in the cold is in it, so that a low one says
    little. `scatter` is what the group lends, None = the printed figures.
    """

    method: str
    farms: tuple[UUID, ...]
    station: Ints
    counts: Floats
    days: Floats
    k: Floats
    at_least: Bools
    dates: Floats
    doubtful: Bools
    scatter: WeekScatter | None


@dataclass(frozen=True)
class FarmCounts:
    """The counts of some farms of one group, from a week (its Monday) to another.

    `lent` is what the group lends in the last week's quarter, by method, None where nothing was fitted yet.
    """

    arrays: CheckArrays
    weeks: StationWeeks
    first: date
    methods: tuple[MethodCounts, ...]
    lent: Mapping[str, BorrowedFigures | None]

    @property
    def mondays(self) -> list[date]:
        """The Monday of each column."""
        first = np.datetime64(self.first, "D")
        number = self.weeks.rate.shape[1]
        return [day.item() for day in first + DAYS_A_WEEK * np.arange(number)]

    def of_last(self, n_weeks: int) -> "FarmCounts":
        """The same in the last so many weeks only, as if it had been read so; no query."""
        if n_weeks >= len(self.mondays):
            return self
        last = self.mondays[-1]
        first = last - (n_weeks - 1) * timedelta(days=DAYS_A_WEEK)
        return _counts(self.arrays.since(first), first, last, self.lent)


def counts_of_farms(farms: "Sequence[Farm]", first: date, last: date) -> FarmCounts:
    """Read farms of one group from the week `first` to the week `last`; one query, and one for the group's figures."""
    arrays = readings_for_check([farm.id for farm in farms], first, last)
    return _counts(arrays, first, last, figures_of_group(farms[0].group_id, last))


def _counts(arrays: CheckArrays, first: date, last: date, lent: Mapping[str, BorrowedFigures | None]) -> FarmCounts:
    n_weeks = (last - first).days // DAYS_A_WEEK + 1
    weeks = station_grid(arrays, last, n_weeks)
    scatter = {method: row.scatter if row is not None else None for method, row in lent.items()}
    used = set(arrays.station_method.tolist())
    methods = tuple(_of_method(arrays, weeks, method, scatter) for method in METHODS if method in used)
    return FarmCounts(arrays, weeks, first, methods, lent)


def _of_method(
    arrays: CheckArrays, weeks: StationWeeks, method: str, lent: Mapping[str, WeekScatter | None]
) -> MethodCounts:
    rows = np.flatnonzero(arrays.station_method == method)
    # Stations come farm by farm, so that a station's place in its farm is its distance from the farm's first.
    farm, first, owner = np.unique(arrays.station_farm[rows], return_index=True, return_inverse=True)
    place = np.arange(rows.size) - first[owner]
    station = np.full((farm.size, int(place.max()) + 1), -1, np.int64)
    station[owner, place] = rows
    there = station >= 0

    def padded(values: Floats) -> Floats:
        return np.where(there[:, :, None], values[station], np.nan)

    scatter, animals = lent[method], 1.0 if METHODS[method].hangs else float(DAYS_A_WEEK)
    counts, effort = padded(weeks.counted), padded(weeks.effort)
    k = np.full(counts.shape, scatter.k if scatter is not None else PRINTED.k)
    return MethodCounts(
        method=method,
        farms=tuple(arrays.farm_ids[each] for each in farm.tolist()),
        station=station,
        counts=counts,
        days=effort * animals,
        # A leg count of n animals has n times the k of one.
        k=k if METHODS[method].hangs else k * np.where(np.isnan(effort), 1.0, effort),
        at_least=padded(weeks.at_least.astype(np.float64)) > 0,
        dates=_dates(padded(weeks.middle), padded(weeks.exposure)),
        doubtful=_doubtful(arrays, weeks.readings.week, farm, counts.shape[2]),
        scatter=scatter,
    )


def _dates(middle: Floats, exposure: Floats) -> Floats:
    """When each farm's week was counted: the mean middle day, weighted by exposure; NaN = not counted."""
    weight = np.where(np.isnan(middle), 0.0, np.nan_to_num(exposure))
    total = weight.sum(axis=1)
    mean = (weight * np.nan_to_num(middle)).sum(axis=1) / np.where(total > 0, total, 1.0)
    return np.where(total > 0, mean, np.nan)


def _doubtful(arrays: CheckArrays, week: Ints, farm: Ints, n_weeks: int) -> Bools:
    """(n_farms, n_weeks) -- animals were sprayed, or it was cold; only readings of legs are marked so."""
    marked = arrays.sprayed | arrays.cold
    found = np.zeros((len(arrays.farm_ids), n_weeks), np.bool_)
    found[arrays.station_farm[arrays.station[marked]], week[marked]] = True
    return np.asarray(found[farm], np.bool_)
