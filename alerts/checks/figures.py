"""What is said of every farm, facility and method of a week, for all of them at once: arrays in, arrays out."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from uuid import UUID

import numpy as np

from alerts.checks.grid import Grid, Owners
from alerts.checks.legs import with_animals
from alerts.levels import FarmLevels
from monitoring.analysis.action_level import compare_with_level, probability_over
from monitoring.analysis.farm_mean import weekly_means
from monitoring.analysis.hot_station import HotStations, hot_stations
from monitoring.analysis.shapes import Bools, Floats, Ints, Words

# At least ten animals of the same pens (common practice, printed in extension guides).
FEW_ANIMALS = 10


@dataclass(frozen=True)
class Figures:
    """The judged week, one entry an owner: (n_owners,). NaN where nothing was counted or no end can be given.

    `animals` were looked at for legs; for what hangs it is the sum of the days up.
    """

    owners: Owners
    mean: Floats
    low: Floats
    high: Floats
    why_no_interval: Words
    at_least: Bools
    devices: Ints
    missing: Ints
    animals: Floats
    few: Bools
    level: Floats
    level_of: Words
    word: Words
    over_probability: Floats
    hot: HotStations
    flags: Mapping[str, Bools]


def figures_of(grid: Grid, owners: Owners, levels: Mapping[UUID, FarmLevels]) -> Figures:
    """Means with their intervals against the action levels, where most of it is, and how the counts are marked."""
    means, animals = weekly_means(grid.judged_week, owners.of_station, len(owners)), _animals(grid, owners)
    interval = with_animals(grid, owners, means.interval(), means.stations[:, 0])
    level, level_of = _levels(grid, owners, levels)
    return Figures(
        owners=owners,
        mean=means.mean[:, 0],
        low=interval.low[:, 0],
        high=interval.high[:, 0],
        why_no_interval=interval.why_none[:, 0],
        at_least=means.at_least[:, 0],
        devices=means.devices[:, 0],
        missing=means.missing[:, 0],
        animals=animals,
        few=np.where(owners.hangs, means.few[:, 0], animals < FEW_ANIMALS),
        level=level,
        level_of=level_of,
        word=compare_with_level(means, level, owners.comparison)[:, 0],
        over_probability=probability_over(interval.low[:, 0], interval.high[:, 0], level, interval.degrees[:, 0]),
        hot=hot_stations(grid.station_weeks, owners.of_station, len(owners), week=grid.column),
        flags=_flags(grid, owners),
    )


def _levels(grid: Grid, owners: Owners, levels: Mapping[UUID, FarmLevels]) -> tuple[Floats, Words]:
    """The level that applies to each owner, NaN where none does, and whose it is."""
    farms = [levels[farm_id] for farm_id in grid.arrays.farm_ids]
    level, level_of = np.full(len(owners), np.nan), np.full(len(owners), "", "U8")
    for method in np.unique(owners.method).tolist():
        rows = owners.method == method
        usual = replace(farms[0], own={}).of(method)
        level[rows], level_of[rows] = np.nan if usual.value is None else usual.value, usual.level_of
    # Few farms have levels of their own.
    own = np.array([bool(each.own) for each in farms], np.bool_)
    for owner in np.flatnonzero(own[owners.farm]).tolist():
        applied = farms[owners.farm[owner]].of(str(owners.method[owner]), owners.facility[owner])
        level[owner], level_of[owner] = np.nan if applied.value is None else applied.value, applied.level_of
    return level, level_of


def _animals(grid: Grid, owners: Owners) -> Floats:
    which = grid.counted_this_week
    owner = owners.of_station[grid.arrays.station[which]]
    return np.bincount(owner, grid.arrays.exposure[which], minlength=len(owners)).astype(np.float64)


def _flags(grid: Grid, owners: Owners) -> dict[str, Bools]:
    """What is to be known of a week's counts. `late`: every one of them came more than two weeks after its day."""
    weeks, arrays, number = grid.station_weeks, grid.arrays, len(owners)
    counted = grid.counted_this_week

    def of_stations(mark: Bools) -> Bools:
        return np.bincount(owners.of_station, mark[:, -1], minlength=number) > 0

    def of_readings(mark: Bools) -> Ints:
        return np.bincount(owners.of_station[arrays.station[counted & mark]], minlength=number)

    all_of_them = of_readings(counted)
    return {
        "estimated": of_stations(weeks.estimated),
        "short": of_stations(weeks.short),
        "long": of_stations(weeks.long),
        "sprayed": of_readings(arrays.sprayed) > 0,
        "cold": of_readings(arrays.cold) > 0,
        "late": (all_of_them > 0) & (of_readings(arrays.late) == all_of_them),
    }
