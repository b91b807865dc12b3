"""How sure the mean of a leg count is: from its animals, where there are too few places to tell."""

from dataclasses import replace

import numpy as np

from alerts.checks.grid import Grid, Owners
from monitoring.analysis.farm_mean import STATIONS_FOR_AN_INTERVAL, Interval
from monitoring.analysis.leg_count import leg_means_of_sums
from monitoring.analysis.shapes import Ints
from monitoring.animals import animal_sums


def with_animals(grid: Grid, owners: Owners, interval: Interval, stations: Ints) -> Interval:
    """The judged week's intervals, (n_owners, 1), with those of leg counts at one or two places put in."""
    few = ~owners.hangs & (stations > 0) & (stations < STATIONS_FOR_AN_INTERVAL)
    if not few.any():
        return interval
    place = {station: number for number, station in enumerate(grid.arrays.station_id)}
    sums = animal_sums(grid.arrays.farm_ids, grid.week)
    known = [
        (place[station], each.animals, each.flies, each.squares) for station, each in sums.items() if station in place
    ]
    if not known:
        return interval
    station, animals, flies, squares = (np.array(column) for column in zip(*known, strict=True))
    legs = leg_means_of_sums(
        animals.astype(np.float64), flies.astype(np.float64), squares.astype(np.float64),
        owners.of_station[station], len(owners),
    )  # fmt: skip
    use = (few & ~np.isnan(legs.low))[:, None]
    return replace(
        interval,
        low=np.where(use, legs.low[:, None], interval.low),
        high=np.where(use, legs.high[:, None], interval.high),
        why_none=np.where(use, "", interval.why_none),
        degrees=np.where(use, legs.animals[:, None] - 1.0, interval.degrees),
    )
