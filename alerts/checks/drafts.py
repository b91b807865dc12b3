"""Figures as rows of Assessment in columns, and which of them are new: an unchanged result gets no new revision."""

import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from django.conf import settings
from numpy.typing import ArrayLike, NDArray

from alerts.checks.evidence import evidence_of, evidence_of_farms
from alerts.checks.figures import Figures, figures_of
from alerts.checks.grid import Grid, Owners
from alerts.checks.life import Place, Result
from alerts.checks.occasion import Occasion
from alerts.checks.outlook import Outlook, WeeksByMethod, outlook_of
from alerts.checks.outlook_json import outlooks_json
from alerts.models import Assessment
from alerts.selectors.levels import levels_of_farms
from monitoring.analysis.action_level import OVER
from monitoring.analysis.shapes import Bools, Floats, Ints

Column = NDArray[Any]
NOT_COMPARED = {"id", "revision", "judged_at", "code_version"}
WRITTEN = ("outlook", "evidence")
COMPARED = [field.attname for field in Assessment._meta.concrete_fields if field.attname not in NOT_COMPARED]


@dataclass(frozen=True)
class Drafts:
    """Results that are not stored yet: a column for each field of Assessment that differs, and what all have alike.

    NaN stands for NULL; columns of ids hold objects, and so do those of JSON (WRITTEN), which is text already. `late`:
    the counts of a result all came more than two weeks late.
    """

    columns: Mapping[str, Column]
    same: Mapping[str, Any]
    late: Bools

    def __len__(self) -> int:
        return len(self.columns["method"])

    def only(self, which: ArrayLike) -> "Drafts":
        """Some of them, by index or mark."""
        chosen = np.asarray(which)
        columns = {name: column[chosen] for name, column in self.columns.items()}
        return replace(self, columns=columns, late=self.late[chosen])

    def places(self) -> list[Place]:
        """The place of each."""
        names = ("farm_id", "facility_id", "method")
        return list(zip(*(self.columns[name].tolist() for name in names), strict=True))

    def results(self) -> list[Result]:
        """Each as far as alerts look at it."""
        columns = (_plain(self.columns[name]) for name in Result._fields if name != "late")
        return [Result(*row) for row in zip(*columns, self.late.tolist(), strict=True)]

    def rows(self) -> list[Assessment]:
        """Each as a row."""
        columns = {name: _plain(column) for name, column in self.columns.items()}
        columns |= {name: [json.loads(text) for text in columns[name]] for name in WRITTEN}
        values = zip(*columns.values(), strict=True)
        return [Assessment(**self.same, **dict(zip(columns, row, strict=True))) for row in values]


def drafts_of(grid: Grid, occasion: Occasion, owners: Owners, weeks: WeeksByMethod) -> Drafts:
    """What this week is concluded to be: farm rows (`owners`, with their `weeks`), then facility rows."""
    levels = levels_of_farms(occasion.group.id, grid.arrays.farm_ids, occasion.sunday)
    for_farms = figures_of(grid, owners, levels)
    for_facilities = figures_of(grid, grid.facility_owners(), levels)
    outlook = outlook_of(
        owners, weeks, occasion.borrowed, level=for_farms.level, is_over=for_farms.word == OVER, flags=for_farms.flags
    )
    of_farms = _columns(grid, for_farms) | _columns_of_farms(grid, for_farms, outlook)
    names = {method: borrowed.name for method, borrowed in occasion.borrowed.items()}
    of_farms["borrowed"] = np.array([names[method] for method in owners.method.tolist()], np.str_)
    of_facilities = _columns(grid, for_facilities)
    of_facilities |= {"evidence": _objects(evidence_of(grid, for_facilities))} | _nothing_of(len(for_facilities.owners))
    parts = (of_farms, for_farms.owners.to_judge), (of_facilities, for_facilities.owners.to_judge)
    columns = {name: np.concatenate([part[name][rows] for part, rows in parts]) for name in of_farms}
    same = {"week": grid.week, "judged_at": occasion.now, "code_version": settings.CODE_VERSION}
    late = np.concatenate([figures.flags["late"][figures.owners.to_judge] for figures in (for_farms, for_facilities)])
    return Drafts(columns | {"revision": np.ones(len(late), np.int64)}, same, late)


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


def _columns(grid: Grid, figures: Figures) -> dict[str, Column]:
    """What is said of a farm and of a facility alike."""
    owners = figures.owners
    return {
        "farm_id": _objects([grid.arrays.farm_ids[farm] for farm in owners.farm.tolist()]),
        "facility_id": _objects(owners.facility),
        "method": owners.method,
        "mean": figures.mean,
        "low": figures.low,
        "high": figures.high,
        "at_least": figures.at_least,
        "devices": figures.devices,
        "missing": figures.missing,
        "few_devices": figures.few & (figures.devices > 0),
        "level": figures.level,
        "level_of": np.array(figures.level_of, np.str_),
        "result": figures.word,
        "over_probability": figures.over_probability,
    }


def _columns_of_farms(grid: Grid, figures: Figures, outlook: Outlook) -> dict[str, Column]:
    """What is said of a whole farm only, its weeks among it."""
    return {
        "trend": outlook.word,
        "growth": outlook.growth,
        "growth_low": outlook.low,
        "growth_high": outlook.high,
        "p_value": outlook.p_value,
        "p_rise": outlook.p_rise,
        "p_fall": outlook.p_fall,
        # What the farm's weeks say of its level; where they are too few, what this week's count alone says.
        "over_probability": np.where(np.isnan(outlook.over_now), figures.over_probability, outlook.over_now),
        "outlook": _objects(outlooks_json(outlook)),
        "weeks_observed": outlook.weeks_observed,
        "evidence": _objects(evidence_of_farms(grid, figures, outlook.reason)),
    }


def _nothing_of(number: int) -> dict[str, Column]:
    """The columns that a facility leaves empty."""
    unknown: Floats = np.full(number, np.nan)
    none: Ints = np.zeros(number, np.int64)
    numbers = dict.fromkeys(("growth", "growth_low", "growth_high", "p_value", "p_rise", "p_fall"), unknown)
    words = dict.fromkeys(("trend", "borrowed"), np.full(number, "", "U20"))
    return {**numbers, **words, "weeks_observed": none, "outlook": _objects(["{}"] * number)}


def _objects(values: Sequence[object]) -> Column:
    column = np.empty(len(values), np.object_)
    column[:] = values
    return column


def _plain(column: Column) -> list[Any]:
    """A column's values as a row of Django's has them."""
    values: list[Any] = column.tolist()
    return [None if math.isnan(value) else value for value in values] if column.dtype.kind == "f" else values
