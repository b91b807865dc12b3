"""What is said of every farm, facility and method of a week, for all of them at once: arrays in, arrays out."""

from collections.abc import Mapping
from dataclasses import dataclass
from uuid import UUID

import numpy as np

from alerts.checks.grid import Grid, Owners
from alerts.checks.rules.rising import trend_words
from alerts.levels import FarmLevels
from alerts.models.assessment import TrendWord
from monitoring.analysis.action_level import compare_with_level
from monitoring.analysis.farm_mean import weekly_means
from monitoring.analysis.hot_station import HotStations, hot_stations
from monitoring.analysis.shapes import Bools, Floats, Ints, Words
from monitoring.analysis.trend import Trends, trends_of

# At least ten animals of the same pens (common practice, printed in extension guides).
FEW_ANIMALS = 10


@dataclass(frozen=True)
class Figures:
    """The judged week, one entry an owner: (n_owners,). NaN where nothing was counted or no end can be given."""

    owners: Owners
    mean: Floats
    low: Floats
    high: Floats
    why_no_interval: Words
    at_least: Bools
    devices: Ints
    missing: Ints
    few: Bools
    level: Floats
    level_of: tuple[str, ...]
    word: Words
    hot: HotStations
    flags: Mapping[str, Bools]


@dataclass(frozen=True)
class FarmTrends:
    """The trend of each farm and method: (n_owners,)."""

    word: Words
    growth: Floats
    low: Floats
    high: Floats
    p_value: Floats
    weeks_observed: Ints
    reason: Words


def figures_of(grid: Grid, owners: Owners, levels: Mapping[UUID, FarmLevels]) -> Figures:
    """Means with their intervals against the action levels, where most of it is, and how the counts are marked."""
    means = weekly_means(grid.station_weeks, owners.of_station, len(owners))
    interval, week = means.interval(), grid.column
    applied = [
        levels[grid.arrays.farm_ids[farm]].of(str(method), facility)
        for farm, facility, method in zip(owners.farm, owners.facility, owners.method, strict=True)
    ]
    level = np.array([np.nan if each.value is None else each.value for each in applied], np.float64)
    return Figures(
        owners=owners,
        mean=means.mean[:, week],
        low=interval.low[:, week],
        high=interval.high[:, week],
        why_no_interval=interval.why_none[:, week],
        at_least=means.at_least[:, week],
        devices=means.devices[:, week],
        missing=means.missing[:, week],
        few=np.where(owners.hangs, means.few[:, week], _animals(grid, owners) < FEW_ANIMALS),
        level=level,
        level_of=tuple(each.level_of for each in applied),
        word=compare_with_level(means, level, owners.comparison)[:, week],
        hot=hot_stations(grid.station_weeks, owners.of_station, len(owners), week=week),
        flags=_flags(grid, owners),
    )


def trends_of_farms(grid: Grid, owners: Owners, flags: Mapping[str, Bools]) -> FarmTrends:
    """The trend over the last eight weeks. A fall of leg counts on sprayed animals is not called one."""
    trends: Trends = trends_of(grid.station_weeks, owners.of_station, len(owners), newest=grid.column)
    interval = trends.interval()
    words = trend_words(trends.slope, trends.p_value, trends.weeks_observed)
    # Nothing caught all along is no rise and no fall, and it is not too early to say so.
    words = np.where(trends.reason == "all_zero", TrendWord.LEVEL.value, words)
    no_fall = ~owners.hangs & (flags["sprayed"] | flags["cold"]) & (words == TrendWord.FALLING.value)
    return FarmTrends(
        word=np.where(no_fall, TrendWord.LEVEL.value, words),
        growth=trends.slope,
        low=interval.low,
        high=interval.high,
        p_value=trends.p_value,
        weeks_observed=trends.weeks_observed,
        reason=trends.reason,
    )


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
