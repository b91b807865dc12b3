"""Figures as rows of Assessment in columns, and which of them are new: an unchanged result gets no new revision."""

import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any
from uuid import UUID

import numpy as np
from django.conf import settings
from numpy.typing import ArrayLike, NDArray

from alerts.checks.figures import figures_of
from alerts.checks.grid import Grid, Owners
from alerts.checks.known import Place, Result
from alerts.checks.occasion import Occasion
from alerts.checks.outlook import WeeksByMethod, outlook_of
from alerts.checks.result_columns import Column, facility_rows, farm_columns, said_alike
from alerts.checks.signals import Signals, signals_of
from alerts.levels import FarmLevels
from alerts.models import Assessment
from alerts.selectors.levels import levels_of_farms
from monitoring.analysis.action_level import OVER
from monitoring.analysis.shapes import Bools, Ints, Words

NOT_COMPARED = {"id", "revision", "judged_at", "code_version"}
WRITTEN = ("outlook", "evidence")
COMPARED = [field.attname for field in Assessment._meta.concrete_fields if field.attname not in NOT_COMPARED]


@dataclass(frozen=True)
class ForAlerts:
    """What alerts look at beside the results themselves, one entry a result; it isn't stored.

    `late`: its counts all came more than two weeks late; `one_place`: a whole farm's, whose method is used in one
    facility only; `owner`: its row in `signals`, -1 for facilities.
    """

    late: Bools
    one_place: Bools
    owner: Ints
    signals: Signals

    def only(self, which: NDArray[Any]) -> "ForAlerts":
        return ForAlerts(self.late[which], self.one_place[which], self.owner[which], self.signals)

    @property
    def met(self) -> Ints:
        return np.where(self.owner >= 0, self.signals.met[self.owner], 0)

    @property
    def known(self) -> Ints:
        return np.where(self.owner >= 0, self.signals.known[self.owner], 0)

    def rows(self) -> list[tuple[Any, ...]]:
        """As the last columns of `Result`."""
        details = [self.signals.evidence(owner) if owner >= 0 else {} for owner in self.owner.tolist()]
        columns = (self.late, self.one_place, self.met, self.known)
        return list(zip(*(column.tolist() for column in columns), details, strict=True))


@dataclass(frozen=True)
class Drafts:
    """Results that are not stored yet: a column for each field of Assessment that differs, and what all have alike.

    NaN stands for NULL; columns of ids hold objects, and so do those of JSON (WRITTEN), which is text already.
    """

    columns: Mapping[str, Column]
    same: Mapping[str, Any]
    for_alerts: ForAlerts

    def __len__(self) -> int:
        return len(self.columns["method"])

    def only(self, which: ArrayLike) -> "Drafts":
        """Some of them, by index or mark."""
        chosen = np.asarray(which)
        columns = {name: column[chosen] for name, column in self.columns.items()}
        return replace(self, columns=columns, for_alerts=self.for_alerts.only(chosen))

    def places(self) -> list[Place]:
        """The place of each."""
        names = ("farm_id", "facility_id", "method")
        return list(zip(*(self.columns[name].tolist() for name in names), strict=True))

    def results(self) -> list[Result]:
        """Each as far as alerts look at it."""
        columns = (_plain(self.columns[name]) for name in Result._fields if name in self.columns)
        return [Result(*row, *beside) for *row, beside in zip(*columns, self.for_alerts.rows(), strict=True)]

    def rows(self) -> list[Assessment]:
        """Each as a row."""
        columns = {name: _plain(column) for name, column in self.columns.items()}
        columns |= {name: [json.loads(text) for text in columns[name]] for name in WRITTEN}
        values = zip(*columns.values(), strict=True)
        return [Assessment(**self.same, **dict(zip(columns, row, strict=True))) for row in values]


def drafts_of(grid: Grid, occasion: Occasion, owners: Owners, weeks: WeeksByMethod) -> Drafts:
    """What this week is concluded to be: farm rows (`owners`, with their `weeks`), then facility rows."""
    levels = levels_of_farms(occasion.group.id, grid.arrays.farm_ids, occasion.sunday)
    return drafts_by(levels, grid, occasion, owners, weeks)


def drafts_by(
    levels: Mapping[UUID, FarmLevels], grid: Grid, occasion: Occasion, owners: Owners, weeks: WeeksByMethod
) -> Drafts:
    """The same by action levels that are known already: pure, so that simulated seasons are judged by it too."""
    figures = figures_of(grid, owners, levels)
    outlook = outlook_of(
        owners, weeks, occasion.borrowed, level=figures.level, is_over=figures.word == OVER, flags=figures.flags
    )
    alike = said_alike(grid, figures)
    facilities = facility_rows(grid, figures, alike, levels)
    of_farms = {**farm_columns(grid, figures, alike, outlook), "borrowed": _lent(owners, occasion)}
    rows = (of_farms, owners.to_judge), (facilities.columns, facilities.to_judge)
    columns = {name: np.concatenate([part[name][judged] for part, judged in rows]) for name in of_farms}
    same = {"week": grid.week, "judged_at": occasion.now, "code_version": settings.CODE_VERSION}
    for_alerts = ForAlerts(
        late=columns.pop("late"),
        one_place=np.concatenate([facilities.alone[owners.to_judge], np.zeros(len(facilities.to_judge), np.bool_)]),
        owner=np.concatenate([owners.to_judge, np.full(len(facilities.to_judge), -1)]),
        signals=signals_of(grid, figures, outlook, weeks, occasion),
    )
    return Drafts(columns | {"revision": np.ones(len(for_alerts.late), np.int64)}, same, for_alerts)


def _lent(owners: Owners, occasion: Occasion) -> Words:
    """The name of what each farm row borrowed."""
    names = {method: borrowed.name for method, borrowed in occasion.borrowed.items()}
    return np.array([names[method] for method in owners.method.tolist()], np.str_)


def changed(drafts: Drafts, stored: Sequence[Assessment]) -> Drafts:
    """The drafts that say something new, each with its revision: one more than the stored row of the same place."""
    latest = {key_of(row): row for row in stored}
    known = [place for place, key in enumerate(drafts.places() if latest else []) if key in latest]
    revision, new = drafts.columns["revision"].copy(), np.ones(len(drafts), np.bool_)
    for place, draft in zip(known, drafts.only(known).rows() if known else [], strict=True):
        before = latest[key_of(draft)]
        revision[place], new[place] = before.revision + 1, not _says_the_same(draft, before)
    return replace(drafts, columns={**drafts.columns, "revision": revision}).only(new)


def key_of(row: Assessment) -> Place:
    return row.farm_id, row.facility_id, row.method


def _says_the_same(one: Assessment, other: Assessment) -> bool:
    return all(getattr(one, name) == getattr(other, name) for name in COMPARED if name != "pk")


def _plain(column: Column) -> list[Any]:
    """A column's values as a row of Django's has them."""
    values: list[Any] = column.tolist()
    return [None if math.isnan(value) else value for value in values] if column.dtype.kind == "f" else values
