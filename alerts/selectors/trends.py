"""A farm's trend over as many weeks as are asked for, from its own readings and what its group's farms lend it."""

from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING

import numpy as np

from alerts.models import BorrowedFigures
from alerts.selectors.borrowed import figures_of_group
from monitoring.analysis.correlated_weeks import PRINTED
from monitoring.analysis.farm_weeks import farm_weeks_of
from monitoring.analysis.trend import fit_trends
from monitoring.arrays import CheckArrays, readings_for_check
from monitoring.methods import METHODS
from monitoring.station_grid import station_grid

if TYPE_CHECKING:
    from farms.models import Farm

FEWEST_WEEKS, MOST_WEEKS = 4, 12


@dataclass(frozen=True)
class FarmTrend:
    """One method's growth a week (log), its 95 % interval, and the weeks in which the level doubles; None = none.

    Doubling times are negative where the level halves; `latest` is None where it need not double at all. `reason` is
    "" where there is a trend, else why not; `borrowed` names the figures that it rests on.
    """

    method: str
    weeks: int
    weeks_observed: int
    growth: float | None
    low: float | None
    high: float | None
    doubling: float | None
    soonest: float | None
    latest: float | None
    p_value: float | None
    reason: str
    borrowed: str


def trends_of_farm(farm: "Farm", week: date, weeks: int) -> list[FarmTrend]:
    """Each method that the farm has used, over the weeks up to `week` (its Monday). Weeks from 4 to 12."""
    if not FEWEST_WEEKS <= weeks <= MOST_WEEKS:
        raise ValueError("weeks must lie from 4 to 12.")
    arrays = readings_for_check([farm.id], week - timedelta(weeks=weeks - 1), week)
    figures = figures_of_group(farm.group_id, week)
    used = [method for method in METHODS if (arrays.station_method == method).any()]
    return [_of_method(arrays, week, weeks, method, figures[method]) for method in used]


def _of_method(arrays: CheckArrays, week: date, weeks: int, method: str, figures: BorrowedFigures | None) -> FarmTrend:
    scatter = figures.scatter if figures is not None else None
    # One owner for the stations of this method; another, that is not looked at, for all the others.
    owner = np.where(arrays.station_method == method, 0, 1).astype(np.int64)
    k = scatter.k if scatter is not None else PRINTED.k
    grid = station_grid(arrays, week, weeks)
    own = farm_weeks_of(grid, owner, 2, newest=weeks - 1, k=k, weeks=weeks).only([0])
    trends = fit_trends(own, scatter)
    ends, doubling = trends.interval(), trends.doubling()
    return FarmTrend(
        method=method,
        weeks=weeks,
        weeks_observed=int(own.weeks_observed[0]),
        growth=_number(trends.slope[0]),
        low=_number(ends.low[0]),
        high=_number(ends.high[0]),
        doubling=_number(doubling.weeks[0]),
        soonest=_number(doubling.soonest[0]),
        latest=_number(doubling.latest[0]),
        p_value=_number(trends.p_value[0]),
        reason=str(trends.reason[0]),
        borrowed=figures.name if figures is not None and scatter is not None else "printed",
    )


def _number(value: float) -> float | None:
    """A number that JSON can tell, with four digits; None for none and for never."""
    return float(f"{value:.4g}") if np.isfinite(value) else None
