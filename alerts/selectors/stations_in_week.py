"""What each station gave in one week, beside the action level of its place: for the farm's plan.

Read as whoever asks may read: row security holds.
"""

from collections import defaultdict
from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING
from uuid import UUID

import numpy as np

from alerts.levels import FarmLevels
from alerts.selectors.levels import levels_of
from monitoring.analysis.action_level import compare_with_level
from monitoring.analysis.farm_mean import weekly_means
from monitoring.analysis.shapes import Floats
from monitoring.arrays import CheckArrays, readings_for_check
from monitoring.methods import METHODS
from monitoring.station_grid import station_grid

if TYPE_CHECKING:
    from farms.models import Farm

SIX_DAYS = timedelta(days=6)
KEPT_OUT = "kept_out"  # a reason for no count (monitoring.models.reading.NoCount)


@dataclass(frozen=True)
class StationWeek:
    """One station in one week.

    `rate` is its count brought to 7 days (of legs: an animal), None where there is none; then `reason` says why (a code
    of NoCount), "" where nothing came at all. `result` is below, near, over or none, beside `level`.
    """

    station_id: UUID
    facility_id: UUID
    method: str
    number: int
    rate: float | None
    at_least: bool
    level: float | None
    result: str
    reason: str

    @property
    def kept_out(self) -> bool:
        return self.reason == KEPT_OUT


def stations_in_week(farm: "Farm", week: date) -> list[StationWeek]:
    """The farm's stations in use in a week (its Monday), by method and number. Three queries, however many there are.

    The level is that of the week's Sunday, as the weekly check takes it: meant for the mean of a place, so that one
    station beside it says where to look, and no more.
    """
    arrays = readings_for_check([farm.id], week, week)
    grid = station_grid(arrays, week, 1)
    levels = _levels(arrays, levels_of(farm, week + SIX_DAYS))
    # Each station as an owner of its own: the plain comparison, exact at the boundary.
    means = weekly_means(grid, np.arange(len(levels)), len(levels))
    comparison = np.array([METHODS[method].comparison for method in arrays.station_method.tolist()], np.str_)
    results = compare_with_level(means, levels, comparison)[:, 0] if len(levels) else np.zeros(0, np.str_)
    reasons = _reasons(arrays)
    found = [
        StationWeek(
            station_id=arrays.station_id[place],
            facility_id=arrays.facility_ids[arrays.station_facility[place]],
            method=str(arrays.station_method[place]),
            number=int(arrays.station_number[place]),
            rate=None if np.isnan(means.mean[place, 0]) else float(means.mean[place, 0]),
            at_least=bool(means.at_least[place, 0]),
            level=None if np.isnan(levels[place]) else float(levels[place]),
            result=str(results[place]),
            reason="" if means.devices[place, 0] else reasons.get(place, ""),
        )
        for place in range(len(levels))
    ]
    return sorted(found, key=lambda each: (each.method, each.number))


def _levels(arrays: CheckArrays, levels: FarmLevels) -> Floats:
    """By station the level of its place; NaN where none is set."""
    places = zip(arrays.station_method.tolist(), arrays.station_facility.tolist(), strict=True)
    found = [levels.of(method, arrays.facility_ids[facility]).value for method, facility in places]
    return np.array([np.nan if value is None else value for value in found], np.float64)


def _reasons(arrays: CheckArrays) -> dict[int, str]:
    """By station why there is no count; where there are two reasons, that it was kept out comes first."""
    told: dict[int, list[str]] = defaultdict(list)
    for station, reason in zip(arrays.station.tolist(), arrays.reason.tolist(), strict=True):
        if reason:
            told[station].append(str(reason))
    return {place: KEPT_OUT if KEPT_OUT in reasons else reasons[0] for place, reasons in told.items()}
