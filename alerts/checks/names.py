"""The group's list of a Monday: which farms rise beyond the week that all of them share. For advisers only."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from uuid import UUID

import numpy as np
from django.db import transaction

from alerts.checks.claims import keep_run
from alerts.checks.grid import Grid, Owners
from alerts.checks.occasion import Occasion
from alerts.checks.outlook import WeeksByMethod
from alerts.checks.side_by_side import side_by_side
from alerts.models import CheckRun, ListedRise
from farms.columns import Column, Ids, insert_columns
from monitoring.analysis.farm_weeks import FarmWeeks, joined
from monitoring.analysis.group_list import group_list


@dataclass(frozen=True)
class Seen:
    """The weeks, by one method, of the farms that can be compared: counted this week, with enough weeks before."""

    method: str
    farms: list[UUID]
    weeks: FarmWeeks


def seen_of(grid: Grid, owners: Owners, weeks: WeeksByMethod) -> list[Seen]:
    """What some hundred farms bring to their group's list, method by method."""
    found = []
    for method, (rows, some) in weeks.items():
        usable = np.flatnonzero(some.told & some.newest_counted & owners.in_use[rows])
        farms = [grid.arrays.farm_ids[farm] for farm in owners.farm[rows[usable]].tolist()]
        found.append(Seen(method, farms, some.only(usable)))
    return found


def store_names(seen: Sequence[Seen], occasion: Occasion, run: CheckRun) -> None:
    """Write the list of a Monday once: what arrives later, or before a run that broke off goes on, leaves it as it was.

    Raises RunLost where the run is another worker's by now.
    """
    if run.listed_at is not None:
        return
    methods = dict.fromkeys(each.method for each in seen)
    by_method = [[each for each in seen if each.method == method] for method in methods]
    listed = side_by_side([partial(_rises, some, occasion) for some in by_method])
    with transaction.atomic():
        keep_run(run)
        for rises in listed:
            insert_columns(ListedRise._meta.db_table, rises.columns, rises.same)
        CheckRun.objects.filter(id=run.id).update(listed_at=occasion.now)


@dataclass(frozen=True)
class _Rises:
    """The rows of the list for one method: a column each of what differs, and what all have alike."""

    columns: dict[str, Column]
    same: dict[str, object]


def _rises(seen: Sequence[Seen], occasion: Occasion) -> _Rises:
    method, farms = seen[0].method, [farm for each in seen for farm in each.farms]
    borrowed = occasion.borrowed[method]
    listed = group_list(joined([each.weeks for each in seen]), borrowed.scatter, borrowed.beside)
    named = np.flatnonzero(listed.named)
    return _Rises(
        {"farm_id": Ids(farms[row] for row in named.tolist()), "p_value": listed.p_value[named]},
        {"method": method, "week": occasion.week, "compared": len(farms), "borrowed": borrowed.name},
    )
