"""The readings of many farms as one grid of stations and weeks, and whose each station is."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cached_property
from typing import Any
from uuid import UUID

import numpy as np
from numpy.typing import NDArray

from monitoring.analysis.farm_weeks import WINDOW_WEEKS
from monitoring.analysis.rates import StationWeeks
from monitoring.analysis.shapes import Bools, Ints, Words
from monitoring.arrays import CheckArrays
from monitoring.methods import METHODS
from monitoring.station_grid import hangs, station_grid


def first_week_of_window(week: date) -> date:
    """The first of the weeks that the trend of a week looks at."""
    return week - timedelta(weeks=WINDOW_WEEKS - 1)


@dataclass(frozen=True)
class Owners:
    """What is judged: one row a method and a farm, or a method and a facility.

    `farm` is an index into the arrays' `farm_ids`; `facility` None for the whole farm; `of_station` (n_stations,) the
    row of each station; `in_use` whether any of its stations stood in the judged week.
    """

    farm: Ints
    facility: tuple[UUID | None, ...]
    method: Words
    of_station: Ints
    in_use: Bools

    def __len__(self) -> int:
        return len(self.facility)

    @property
    def to_judge(self) -> Ints:
        return np.flatnonzero(self.in_use)

    @property
    def hangs(self) -> Bools:
        return hangs(self.method)

    @property
    def comparison(self) -> Words:
        return np.select([self.method == code for code in METHODS], [each.comparison for each in METHODS.values()], "")


@dataclass(frozen=True)
class Grid:
    """Arrays of many farms, seen from one week: the last column of the grid."""

    arrays: CheckArrays
    week: date

    @property
    def column(self) -> int:
        return WINDOW_WEEKS - 1

    @cached_property
    def station_weeks(self) -> StationWeeks:
        """Rates of all stations, per 7 days or per animal, in the weeks of the window."""
        return station_grid(self.arrays, self.week)

    @cached_property
    def judged_week(self) -> StationWeeks:
        """Those of the judged week alone, its only column."""
        return self.station_weeks.of_week(self.column)

    @cached_property
    def in_use(self) -> Bools:
        """(n_stations,) -- stood in the judged week, or was read in it all the same."""
        arrays, weeks = self.arrays, self.station_weeks
        monday = np.datetime64(self.week, "D")
        ended = ~np.isnat(arrays.station_until) & (arrays.station_until < monday)
        stood = (arrays.station_since <= monday + np.timedelta64(6, "D")) & ~ended
        return np.asarray(stood | (weeks.devices[:, -1] > 0) | (weeks.missing[:, -1] > 0), np.bool_)

    @cached_property
    def this_week(self) -> Bools:
        """(n_readings,) -- the readings of the judged week."""
        return np.asarray(self.station_weeks.readings.week == self.column, np.bool_)

    @cached_property
    def counted_this_week(self) -> Bools:
        return np.asarray(self.this_week & ~np.isnan(self.arrays.count), np.bool_)

    def of_stations(self, which: Bools) -> "Grid":
        """Some of the stations alone, with their readings."""
        return Grid(self.arrays.of_stations(which), self.week)

    def farm_owners(self) -> Owners:
        of_station, rows = _numbered([self.arrays.station_farm, self.arrays.station_method])
        return self._owners(of_station, rows, tuple(None for _ in rows))

    @cached_property
    def facility_owners(self) -> Owners:
        arrays = self.arrays
        of_station, rows = _numbered([arrays.station_farm, arrays.station_facility, arrays.station_method])
        facilities = tuple(arrays.facility_ids[place] for place in arrays.station_facility[rows].tolist())
        return self._owners(of_station, rows, facilities)

    def _owners(self, of_station: Ints, rows: Ints, facility: tuple[UUID | None, ...]) -> Owners:
        in_use = np.bincount(of_station, self.in_use, minlength=len(rows)) > 0
        arrays = self.arrays
        return Owners(arrays.station_farm[rows], facility, arrays.station_method[rows], of_station, in_use)


def _numbered(keys: Sequence[NDArray[Any]]) -> tuple[Ints, Ints]:
    """The number of each key (a row of these columns), in the order of first appearance, and where each appears."""
    key: Ints = np.zeros(len(keys[0]), np.int64)
    for column in keys:
        different, which = np.unique(column, return_inverse=True)
        key = key * max(len(different), 1) + which
    _, first, which = np.unique(key, return_index=True, return_inverse=True)
    order = np.argsort(first)
    number = np.empty_like(order)
    number[order] = np.arange(len(order))
    return number[which], first[order]
