"""How sure the mean of a leg count is: from its animals, where there are too few places to tell."""

from dataclasses import replace

import numpy as np

from alerts.checks.grid import Grid, Owners
from monitoring.analysis.farm_mean import STATIONS_FOR_AN_INTERVAL, Interval
from monitoring.analysis.leg_count import leg_means_of_sums
from monitoring.analysis.shapes import Ints


def with_animals(grid: Grid, owners: Owners, interval: Interval, stations: Ints) -> Interval:
    """The judged week's intervals, (n_owners, 1), with those of leg counts at one or two places put in."""
    few = ~owners.hangs & (stations > 0) & (stations < STATIONS_FOR_AN_INTERVAL)
    squares, weeks = grid.arrays.station_squares, grid.station_weeks
    station = np.flatnonzero(~np.isnan(squares))
    if not few.any() or not station.size:
        return interval
    animals, flies = weeks.exposure[station, grid.column], weeks.counted[station, grid.column]
    legs = leg_means_of_sums(animals, flies, squares[station], owners.of_station[station], len(owners))
    use = (few & ~np.isnan(legs.low))[:, None]
    return replace(
        interval,
        low=np.where(use, legs.low[:, None], interval.low),
        high=np.where(use, legs.high[:, None], interval.high),
        why_none=np.where(use, "", interval.why_none),
        degrees=np.where(use, legs.animals[:, None] - 1.0, interval.degrees),
    )
