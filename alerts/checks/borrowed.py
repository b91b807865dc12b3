"""What a group's farms borrow from one another: fitted once a quarter from the weeks before it, rounded, stored."""

import logging
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from math import inf
from typing import TYPE_CHECKING, Any
from uuid import UUID

import numpy as np
from django.conf import settings
from django.db import InterfaceError, OperationalError, transaction

from alerts.checks.grid import Grid, Owners
from alerts.models import BorrowedFigures
from alerts.models.borrowed import SCATTER
from farms.clock import monday_of, quarter_of
from farms.selectors import farms_of_group
from monitoring.analysis.correlated_weeks import FARMS_TO_BORROW, PRINTED, WeekScatter, two_digits
from monitoring.analysis.farm_weeks import WINDOW_WEEKS, FarmWeeks, farm_weeks_of, joined, padded_counts
from monitoring.analysis.group_list import beside_shared_week
from monitoring.analysis.leg_scatter import OWN, leg_scatter
from monitoring.analysis.pooled_k import pooled_k
from monitoring.analysis.shapes import Floats, Ints
from monitoring.analysis.taylor import OWN as OWN_LAW
from monitoring.analysis.taylor import device_moments, taylor_laws
from monitoring.analysis.week_scatter import fit_week_scatter
from monitoring.arrays import flies_on_animals, readings_for_check
from monitoring.methods import METHODS

if TYPE_CHECKING:
    from farms.models import Farm, Group

CHUNK = 500
WEEK = timedelta(days=7)
PRINTED_NAME = "printed"
# Of a power law of variance and mean: none of counts lies beyond.
STEEPEST_A, STEEPEST_B = 1e6, 5.0
logger = logging.getLogger(__name__)


@dataclass(frozen=True)
class Borrowed:
    """What one method's results rest on beside the farm's own weeks; `scatter` None = the printed figures.

    `beside` is the scatter beside the week that all farms share, for the group's list.
    """

    scatter: WeekScatter | None
    name: str
    beside: WeekScatter | None = None


NOTHING = {method: Borrowed(None, PRINTED_NAME) for method in METHODS}


def borrowed_of(group_id: UUID, week: date) -> dict[str, Borrowed]:
    """What results of a week borrow: the figures of its quarter, whenever it is judged."""
    rows = BorrowedFigures.objects.filter(group_id=group_id, quarter=quarter_of(week)).order_by("version")
    found = {row.method: Borrowed(row.scatter, row.name, row.list_scatter) for row in rows if row.scatter is not None}
    return NOTHING | found


def fix_borrowed(group: "Group", week: date, now: datetime) -> None:
    """Fit the figures of the week's quarter where nobody has yet, from the twelve weeks before it."""
    quarter = quarter_of(week)
    if BorrowedFigures.objects.filter(group_id=group.id, quarter=quarter).exists():
        return
    last = monday_of(quarter - timedelta(days=1))
    farms = list(farms_of_group(group.id))
    rows = [
        BorrowedFigures(
            group=group, method=method, quarter=quarter, fitted_at=now, code_version=settings.CODE_VERSION, **figures
        )
        for method, figures in _fitted(farms, last).items()
    ]
    # Another worker may have fixed them in this moment; the first ones hold.
    BorrowedFigures.objects.bulk_create(rows, ignore_conflicts=True)


def _fitted(farms: "Sequence[Farm]", last: date) -> dict[str, dict[str, Any]]:
    """Each method's figures, from the weeks up to `last`; without figures where fewer than 30 holdings can say."""
    seen = [each for start in range(0, len(farms), CHUNK) for each in _seen_of(farms[start : start + CHUNK], last)]
    return {method: _figures(seen, method) for method in METHODS}


@dataclass(frozen=True)
class _Seen:
    """What was seen of some farms: by method their weeks, of how many holdings, k, and moments of devices by week."""

    weeks: dict[str, FarmWeeks]
    holdings: dict[str, set[UUID]]
    k: dict[str, float]
    moments: dict[str, Floats]
    flies: Floats


def _seen_of(farms: "Sequence[Farm]", last: date) -> list[_Seen]:
    """What was seen of these farms; without the farm at fault where one can't be read, which its own check will say."""
    try:
        with transaction.atomic():
            return [_look_at(farms, last)]
    except (OperationalError, InterfaceError):
        raise  # the database, not a farm
    except Exception:
        if len(farms) == 1:
            logger.exception("Farm %s lends nothing to its group this quarter: it could not be read.", farms[0].id)
            return []
        half = len(farms) // 2
        return _seen_of(farms[:half], last) + _seen_of(farms[half:], last)


def _look_at(farms: "Sequence[Farm]", last: date) -> _Seen:
    """Read some farms' weeks and keep what the figures rest on."""
    ids, first = [farm.id for farm in farms], last - (WINDOW_WEEKS - 1) * WEEK
    grid = Grid(readings_for_check(ids, first, last), last)
    owners = grid.farm_owners()
    rows_of = {method: np.flatnonzero(owners.method == method) for method in np.unique(owners.method).tolist()}
    ks = {method: _pooled_k(grid, owners, rows, method) for method, rows in rows_of.items()}
    k = np.array([ks[method] for method in owners.method.tolist()], np.float64)
    weeks = farm_weeks_of(grid.station_weeks, owners.of_station, len(owners), newest=grid.column, k=k)
    moments = device_moments(grid.station_weeks, owners.of_station, len(owners))
    told = {method: rows[weeks.told[rows]] for method, rows in rows_of.items()}
    return _Seen(
        weeks={method: weeks.only(rows) for method, rows in told.items()},
        holdings={
            method: {farms[farm].holding_id for farm in owners.farm[rows].tolist()} for method, rows in told.items()
        },
        k=ks,
        moments={method: np.stack([each[rows].ravel() for each in moments]) for method, rows in rows_of.items()},
        flies=flies_on_animals(ids, first, last),
    )


def _pooled_k(grid: Grid, owners: Owners, rows: Ints, method: str) -> float:
    if not METHODS[method].hangs:
        # One k an animal; a leg count is the sum of many.
        return PRINTED.k
    counts, days = padded_counts(grid.station_weeks, owners.of_station, len(owners), newest=grid.column)
    return two_digits(pooled_k(counts[rows], days[rows]) or PRINTED.k)


def _figures(seen: Sequence[_Seen], method: str) -> dict[str, Any]:
    """The columns of one method's row."""
    weeks = [each.weeks[method] for each in seen if method in each.weeks]
    holdings = {holding for each in seen for holding in each.holdings.get(method, ())}
    found = {"farms": sum(map(len, weeks)), "holdings": len(holdings)}
    if len(holdings) < FARMS_TO_BORROW:
        return found
    k = two_digits(float(np.median([each.k[method] for each in seen if method in each.k])))
    together = joined(weeks)
    try:
        scatter, beside = fit_week_scatter(together, k), fit_week_scatter(beside_shared_week(together), k)
    except (ValueError, ArithmeticError, np.linalg.LinAlgError):
        logger.exception("No figures could be fitted for %s: the printed ones hold for the quarter.", method)
        return found
    if scatter is None or beside is None:
        return found
    pooled = _columns("", scatter) | _columns("list_", beside)
    return found | pooled | {"weight_k": k} | _taylor(seen, method) | _leg_k(seen, method)


def _columns(use: str, scatter: WeekScatter) -> dict[str, float]:
    return {f"{use}{name}": getattr(scatter.as_lent, name) for name in SCATTER}


def _taylor(seen: Sequence[_Seen], method: str) -> dict[str, float]:
    mean, variance = np.concatenate([each.moments[method] for each in seen if method in each.moments], axis=1)
    law = taylor_laws(mean, variance, np.zeros(mean.size, np.int64), [method])
    a, b = float(law.mean_a[0]), float(law.b[0])
    # A line through means that hardly differ may be as steep as it likes: that is no law.
    if law.source[0] != OWN_LAW or not (0 < a <= STEEPEST_A and abs(b) <= STEEPEST_B):
        return {}
    used = (mean > 0) & (variance > 0)
    # a m^b with b rounded still goes through the middle of the farm-weeks; a alone, at a mean of 1, lies far from them.
    middle = float(np.exp(np.log(mean[used]).mean()))
    return {"taylor_a": two_digits(a * middle ** (b - two_digits(b))), "taylor_b": two_digits(b)}


def _leg_k(seen: Sequence[_Seen], method: str) -> dict[str, float]:
    if METHODS[method].hangs:
        return {}
    wide = max(each.flies.shape[1] for each in seen)
    padded = [np.pad(each.flies, ((0, 0), (0, wide - each.flies.shape[1])), constant_values=np.nan) for each in seen]
    flies = np.concatenate(padded)
    legs = leg_scatter(flies, np.zeros(len(flies), np.int64), 1)
    known = legs.source[0] == OWN and legs.k[0] < inf
    return {"leg_k": two_digits(float(legs.k[0]))} if known else {}
