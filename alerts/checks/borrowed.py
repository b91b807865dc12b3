"""What a group's farms borrow from one another: fitted once a quarter from the weeks before it, rounded, stored."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from math import floor, inf, log10
from typing import TYPE_CHECKING, Any
from uuid import UUID

import numpy as np
from django.conf import settings

from alerts.checks.grid import Grid, Owners
from alerts.models import BorrowedFigures
from farms.clock import monday_of, quarter_of
from farms.selectors import farms_of_group
from monitoring.analysis.correlated_weeks import FARMS_TO_BORROW, PRINTED, WeekScatter
from monitoring.analysis.farm_weeks import WINDOW_WEEKS, FarmWeeks, farm_weeks_of, joined, padded_counts
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


@dataclass(frozen=True)
class Borrowed:
    """What one method's results rest on beside the farm's own weeks; `scatter` None = the printed figures."""

    scatter: WeekScatter | None
    name: str


NOTHING = {method: Borrowed(None, PRINTED_NAME) for method in METHODS}


def borrowed_of(group_id: UUID, week: date) -> dict[str, Borrowed]:
    """What results of a week borrow: the figures of its quarter, whenever it is judged."""
    rows = BorrowedFigures.objects.filter(group_id=group_id, quarter=quarter_of(week)).order_by("version")
    found = {row.method: Borrowed(row.scatter, row.name) for row in rows if row.scatter is not None}
    return NOTHING | found


def fix_borrowed(group: "Group", week: date, now: datetime) -> None:
    """Fit the figures of the week's quarter where nobody has yet, from the twelve weeks before it."""
    quarter = quarter_of(week)
    if BorrowedFigures.objects.filter(group_id=group.id, quarter=quarter).exists():
        return
    last = monday_of(quarter - timedelta(days=1)) if quarter.weekday() else quarter - WEEK
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
    seen = _Seen()
    for start in range(0, len(farms), CHUNK):
        seen.look_at(farms[start : start + CHUNK], last)
    return {method: seen.figures(method) for method in METHODS}


class _Seen:
    """What was seen of a group's farms, chunk by chunk."""

    def __init__(self) -> None:
        self.weeks: dict[str, list[FarmWeeks]] = defaultdict(list)
        self.holdings: dict[str, set[UUID]] = defaultdict(set)
        self.k: dict[str, list[float]] = defaultdict(list)
        self.moments: dict[str, list[Floats]] = defaultdict(list)
        self.flies: list[Floats] = []

    def look_at(self, farms: "Sequence[Farm]", last: date) -> None:
        """Read some farms' weeks and keep what the figures rest on."""
        ids = [farm.id for farm in farms]
        first = last - (WINDOW_WEEKS - 1) * WEEK
        grid = Grid(readings_for_check(ids, first, last), last)
        owners = grid.farm_owners()
        moments = device_moments(grid.station_weeks, owners.of_station, len(owners))
        rows_of = {method: np.flatnonzero(owners.method == method) for method in np.unique(owners.method).tolist()}
        k = np.full(len(owners), PRINTED.k)
        for method, rows in rows_of.items():
            k[rows] = self._pooled_k(grid, owners, rows, method)
        weeks = farm_weeks_of(grid.station_weeks, owners.of_station, len(owners), newest=grid.column, k=k)
        for method, rows in rows_of.items():
            told = rows[weeks.told[rows]]
            self.weeks[method].append(weeks.only(told))
            self.holdings[method] |= {farms[farm].holding_id for farm in owners.farm[told].tolist()}
            self.moments[method].append(np.stack([each[rows].ravel() for each in moments]))
        self.flies.append(flies_on_animals(ids, first, last))

    def _pooled_k(self, grid: Grid, owners: Owners, rows: Ints, method: str) -> float:
        if not METHODS[method].hangs:
            # One k an animal; a leg count is the sum of many.
            return PRINTED.k
        counts, days = padded_counts(grid.station_weeks, owners.of_station, len(owners), newest=grid.column)
        k = two_digits(pooled_k(counts[rows], days[rows]) or PRINTED.k)
        self.k[method].append(k)
        return k

    def figures(self, method: str) -> dict[str, Any]:
        """The columns of one method's row."""
        weeks, holdings = self.weeks[method], self.holdings[method]
        found = {"farms": sum(len(each) for each in weeks), "holdings": len(holdings)}
        if len(holdings) < FARMS_TO_BORROW:
            return found
        k = two_digits(float(np.median(self.k[method])) if self.k[method] else PRINTED.k)
        scatter = fit_week_scatter(joined(weeks), k)
        if scatter is None:
            return found
        names = ("shock", "stays", "counting", "growth", "degrees")
        pooled = {name: two_digits(getattr(scatter, name)) for name in names}
        return found | pooled | {"weight_k": k} | self._taylor(method) | self._leg_k(method)

    def _taylor(self, method: str) -> dict[str, float]:
        mean, variance = np.concatenate(self.moments[method], axis=1)
        law = taylor_laws(mean, variance, np.zeros(mean.size, np.int64), [method])
        if law.source[0] != OWN_LAW:
            return {}
        return {"taylor_a": two_digits(float(law.mean_a[0])), "taylor_b": two_digits(float(law.b[0]))}

    def _leg_k(self, method: str) -> dict[str, float]:
        if METHODS[method].hangs:
            return {}
        wide = max(each.shape[1] for each in self.flies)
        padded = [np.pad(each, ((0, 0), (0, wide - each.shape[1])), constant_values=np.nan) for each in self.flies]
        flies = np.concatenate(padded)
        legs = leg_scatter(flies, np.zeros(len(flies), np.int64), 1)
        known = legs.source[0] == OWN and legs.k[0] < inf
        return {"leg_k": two_digits(float(legs.k[0]))} if known else {}


def two_digits(value: float) -> float:
    """Round to two significant digits, so that no farm shows in a pooled figure."""
    return round(value, 1 - floor(log10(abs(value)))) if value else 0.0
