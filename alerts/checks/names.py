"""The group's list of a Monday: which farms rise beyond the week that all of them share. For advisers only."""

from collections import defaultdict
from uuid import UUID

import numpy as np

from alerts.checks.grid import Grid, Owners
from alerts.checks.occasion import Occasion
from alerts.checks.outlook import WeeksByMethod
from alerts.models import ListedRise
from monitoring.analysis.farm_weeks import FarmWeeks, joined
from monitoring.analysis.group_list import group_list


class Compared:
    """The weeks of a group's farms, gathered while they are judged chunk by chunk."""

    def __init__(self) -> None:
        self.farms: dict[str, list[UUID]] = defaultdict(list)
        self.weeks: dict[str, list[FarmWeeks]] = defaultdict(list)

    def add(self, grid: Grid, owners: Owners, weeks: WeeksByMethod) -> None:
        """Keep the weeks of the farms that can be compared: counted this week, with enough weeks before."""
        for method, (rows, some) in weeks.items():
            usable = np.flatnonzero(some.told & some.newest_counted & owners.in_use[rows])
            self.farms[method] += [grid.arrays.farm_ids[farm] for farm in owners.farm[rows[usable]]]
            self.weeks[method].append(some.only(usable))

    def rises(self, occasion: Occasion) -> list[ListedRise]:
        """The rows of the list."""
        return [row for method in self.weeks for row in self._of_method(method, occasion)]

    def _of_method(self, method: str, occasion: Occasion) -> list[ListedRise]:
        borrowed, farms = occasion.borrowed[method], self.farms[method]
        listed = group_list(joined(self.weeks[method]), borrowed.scatter)
        return [
            ListedRise(
                farm_id=farms[row], method=method, week=occasion.week, p_value=float(listed.p_value[row]),
                compared=len(farms), borrowed=borrowed.name,
            )
            for row in np.flatnonzero(listed.named).tolist()
        ]  # fmt: skip


def store_names(compared: Compared, occasion: Occasion) -> None:
    """Write the list of a Monday once: what arrives later leaves it as it was."""
    ListedRise.objects.bulk_create(compared.rises(occasion), ignore_conflicts=True)
