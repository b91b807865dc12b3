"""Readings as a grid of stations and weeks: what the analysis takes, from what the database gives."""

from datetime import date

import numpy as np

from monitoring.analysis.farm_weeks import WINDOW_WEEKS
from monitoring.analysis.rates import DEVICE_DAYS, PER_ANIMAL, Readings, StationWeeks, station_weeks
from monitoring.analysis.shapes import Bools, Words
from monitoring.analysis.weeks import week_index
from monitoring.arrays import CheckArrays
from monitoring.methods import METHODS


def station_grid(arrays: CheckArrays, week: date, weeks: int = WINDOW_WEEKS) -> StationWeeks:
    """Rates of all stations, per 7 days or per animal, in the weeks up to `week` (its Monday), the last column.

    A reading outside these weeks is refused.
    """
    first = np.datetime64(week, "D") - np.timedelta64(7 * (weeks - 1), "D")
    readings = Readings(
        station=arrays.station, week=week_index(arrays.week, first), middle=arrays.middle, count=arrays.count,
        part=arrays.fraction, exposure=arrays.exposure, at_least=arrays.at_least, how=arrays.how,
    )  # fmt: skip
    per = np.where(hangs(arrays.station_method), DEVICE_DAYS, PER_ANIMAL)
    return station_weeks(readings, n_stations=len(arrays.station_id), n_weeks=weeks, per=per)


def hangs(method: Words) -> Bools:
    """Whether what each method counts hangs for some days."""
    return np.isin(method, [code for code, each in METHODS.items() if each.hangs])
