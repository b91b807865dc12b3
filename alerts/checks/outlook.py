"""What a farm's weeks say: where its counts are going, how sure that is, and when its level is likely crossed."""

from collections.abc import Mapping
from dataclasses import dataclass, fields
from typing import Any

import numpy as np

from alerts.checks.borrowed import Borrowed
from alerts.checks.grid import Grid, Owners
from alerts.checks.rules.rising import trend_words
from alerts.models.assessment import TrendWord
from monitoring.analysis.correlated_weeks import PRINTED
from monitoring.analysis.farm_weeks import FarmWeeks, farm_weeks_of
from monitoring.analysis.forecast import CROSSING_WEEKS, WEEKS_AHEAD, Crossings, Forecasts, crossings, forecast
from monitoring.analysis.rise import find_rises
from monitoring.analysis.shapes import Bools, Floats, Ints, Words
from monitoring.analysis.trend import TREND_WEEKS, fit_trends

ALL_AHEAD = (0.0, *CROSSING_WEEKS)
FORECAST_LEVEL = 0.8


@dataclass(frozen=True)
class Outlook:
    """One row a farm and method: (n_owners,), or (n_owners, 3) for the three weeks ahead. NaN = nothing can be said.

    `growth`, `low`, `high` and `p_value` are those of the line through the last eight weeks; `p_rise` and `p_fall` of
    the farm's own test against its own past, over twelve; `over_now` the probability that the true level is over the
    action level; `ahead_*` what a round will count in one, two and three weeks, `ahead_over` the probability that it
    will be over; `crossing*` the week in which that is likely.
    """

    word: Words
    growth: Floats
    low: Floats
    high: Floats
    p_value: Floats
    p_rise: Floats
    p_fall: Floats
    over_now: Floats
    ahead_median: Floats
    ahead_low: Floats
    ahead_high: Floats
    ahead_over: Floats
    crossing: Words
    crossing_weeks: Floats
    crossing_soonest: Floats
    crossing_latest: Floats
    weeks_observed: Ints
    reason: Words


# For each method, the rows of `Owners` and their weeks.
WeeksByMethod = Mapping[str, tuple[Ints, FarmWeeks]]


def weeks_by_method(grid: Grid, owners: Owners, borrowed: Mapping[str, Borrowed]) -> WeeksByMethod:
    """Each method's farms (rows of `owners`) and their weeks, fitted with what is borrowed for that method."""
    k = np.array([_k(borrowed[str(method)]) for method in owners.method], np.float64)
    weeks = farm_weeks_of(grid.station_weeks, owners.of_station, len(owners), newest=grid.column, k=k)
    rows = {str(method): np.flatnonzero(owners.method == method) for method in np.unique(owners.method)}
    return {method: (row, weeks.only(row)) for method, row in rows.items()}


def _k(borrowed: Borrowed) -> float:
    return borrowed.scatter.k if borrowed.scatter is not None else PRINTED.k


def outlook_of(
    owners: Owners,
    weeks: WeeksByMethod,
    borrowed: Mapping[str, Borrowed],
    *,
    level: Floats,
    is_over: Bools,
    flags: Mapping[str, Bools],
) -> Outlook:
    """Judge the weeks of every farm and method. A fall of leg counts on sprayed animals is not called one."""
    found = _nothing(len(owners))
    for method, (rows, some) in weeks.items():
        one = _of_method(some, borrowed[method], level[rows], is_over[rows])
        for field in fields(Outlook):
            getattr(found, field.name)[rows] = getattr(one, field.name)
    no_fall = ~owners.hangs & (flags["sprayed"] | flags["cold"]) & (found.word == TrendWord.FALLING.value)
    found.word[no_fall] = TrendWord.LEVEL.value
    return found


def _of_method(weeks: FarmWeeks, borrowed: Borrowed, level: Floats, is_over: Bools) -> Outlook:
    trends = fit_trends(weeks.last(TREND_WEEKS), borrowed.scatter)
    growth, rises = trends.interval(), find_rises(weeks, borrowed.scatter)
    ahead = forecast(weeks, borrowed.scatter, ahead=ALL_AHEAD)
    low, high = ahead.interval(FORECAST_LEVEL)
    over, shown = ahead.probability_over(level), slice(1, 1 + len(WEEKS_AHEAD))
    crossed = _crossed(ahead, level, is_over, over)
    # The weeks ahead are counted from the last week that was counted: of an older one they would be past already.
    fresh = weeks.newest_counted[:, None]
    words = trend_words(rises.p_rise, rises.p_fall, weeks.weeks_observed)
    return Outlook(
        # Nothing caught all along is no rise and no fall, and it is not too early to say so.
        word=np.where(weeks.reason == "all_zero", TrendWord.LEVEL.value, words),
        growth=trends.slope,
        low=growth.low,
        high=growth.high,
        p_value=trends.p_value,
        p_rise=rises.p_rise,
        p_fall=rises.p_fall,
        over_now=np.where(weeks.newest_counted, over[:, 0], np.nan),
        ahead_median=np.where(fresh, ahead.median[:, shown], np.nan),
        ahead_low=np.where(fresh, low[:, shown], np.nan),
        ahead_high=np.where(fresh, high[:, shown], np.nan),
        ahead_over=np.where(fresh, over[:, shown], np.nan),
        crossing=np.where(weeks.newest_counted, crossed.word, ""),
        crossing_weeks=crossed.weeks,
        crossing_soonest=crossed.soonest,
        crossing_latest=crossed.latest,
        weeks_observed=weeks.weeks_observed,
        reason=rises.reason,
    )


def _crossed(ahead: Forecasts, level: Floats, is_over: Bools, over: Floats) -> Crossings:
    later = Forecasts(ahead.ahead[1:], ahead.middle[:, 1:], ahead.spread[:, 1:], ahead.degrees, ahead.reason)
    return crossings(later, level, is_over, probability=over[:, 1:])


def _nothing(n_owners: int) -> Outlook:
    def of(field: str) -> Any:
        if field in ("word", "crossing", "reason"):
            return np.full(n_owners, "", "U20")
        if field == "weeks_observed":
            return np.zeros(n_owners, np.int64)
        return np.full((n_owners, len(WEEKS_AHEAD)) if field.startswith("ahead") else n_owners, np.nan)

    return Outlook(**{field.name: of(field.name) for field in fields(Outlook)})
