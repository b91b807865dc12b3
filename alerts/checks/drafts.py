"""Figures as rows of Assessment, and which of them are new: an unchanged result gets no new revision."""

import math
from collections import defaultdict
from collections.abc import Iterable, Sequence
from typing import Any
from uuid import UUID

from django.conf import settings

from alerts.checks.figures import Figures, figures_of
from alerts.checks.grid import Grid, Owners
from alerts.checks.occasion import Occasion
from alerts.checks.outlook import Outlook, WeeksByMethod, outlook_of
from alerts.checks.outlook_json import outlook_json
from alerts.models import Assessment
from alerts.selectors.levels import levels_of_farms
from monitoring.analysis.action_level import OVER
from monitoring.analysis.hot_station import question_on_the_spot

Key = tuple[UUID, UUID | None, str]  # (farm, facility or none, method)
NOT_COMPARED = {"id", "revision", "judged_at", "code_version"}
COMPARED = [field.attname for field in Assessment._meta.concrete_fields if field.attname not in NOT_COMPARED]


def drafts_of(grid: Grid, occasion: Occasion, owners: Owners, weeks: WeeksByMethod) -> list[Assessment]:
    """What this week is concluded to be, farm rows (`owners`, with their `weeks`) and facility rows, not stored yet."""
    levels = levels_of_farms(occasion.group.id, grid.arrays.farm_ids, occasion.sunday)
    for_farms = figures_of(grid, owners, levels)
    for_facilities = figures_of(grid, grid.facility_owners(), levels)
    outlook = outlook_of(
        owners, weeks, occasion.borrowed, level=for_farms.level, is_over=for_farms.word == OVER, flags=for_farms.flags
    )
    lost = _without_count(grid)
    rows = [_farm_row(grid, for_farms, outlook, lost, owner) for owner in owners.to_judge]
    for row in rows:
        row["borrowed"] = occasion.borrowed[row["method"]].name
    rows += [_row(grid, for_facilities, owner) for owner in for_facilities.owners.to_judge]
    return [Assessment(judged_at=occasion.now, code_version=settings.CODE_VERSION, **columns) for columns in rows]


def changed(drafts: Iterable[Assessment], stored: Sequence[Assessment]) -> list[Assessment]:
    """The drafts that say something new, each with its revision: one more than the stored row of the same place."""
    latest = {key_of(row): row for row in stored}
    new = []
    for draft in drafts:
        before = latest.get(key_of(draft))
        if before is None or not _says_the_same(draft, before):
            draft.revision = before.revision + 1 if before else 1
            new.append(draft)
    return new


def key_of(row: Assessment) -> Key:
    return row.farm_id, row.facility_id, row.method


def _says_the_same(one: Assessment, other: Assessment) -> bool:
    return all(getattr(one, name) == getattr(other, name) for name in COMPARED if name != "pk")


def _farm_row(
    grid: Grid, figures: Figures, outlook: Outlook, lost: dict[tuple[int, str], list[dict[str, Any]]], owner: int
) -> dict[str, Any]:
    """A whole farm's row: as a facility's, with the trend and what was hung and not counted."""
    row = _row(grid, figures, owner)
    missing = lost[int(figures.owners.farm[owner]), row["method"]]
    return row | {
        "trend": str(outlook.word[owner]),
        "growth": _number(outlook.growth[owner]),
        "growth_low": _number(outlook.low[owner]),
        "growth_high": _number(outlook.high[owner]),
        "p_value": _number(outlook.p_value[owner]),
        "p_rise": _number(outlook.p_rise[owner]),
        "p_fall": _number(outlook.p_fall[owner]),
        "over_probability": _first_of(_number(outlook.over_now[owner]), row["over_probability"]),
        "outlook": outlook_json(outlook, owner),
        "weeks_observed": int(outlook.weeks_observed[owner]),
        "evidence": row["evidence"] | {"trend": str(outlook.reason[owner]), "missing": missing},
    }


def _row(grid: Grid, figures: Figures, owner: int) -> dict[str, Any]:
    owners = figures.owners
    return {
        "farm_id": grid.arrays.farm_ids[owners.farm[owner]],
        "facility_id": owners.facility[owner],
        "method": str(owners.method[owner]),
        "week": grid.week,
        "mean": _number(figures.mean[owner]),
        "low": _number(figures.low[owner]),
        "high": _number(figures.high[owner]),
        "at_least": bool(figures.at_least[owner]),
        "devices": int(figures.devices[owner]),
        "missing": int(figures.missing[owner]),
        "few_devices": bool(figures.few[owner] and figures.devices[owner] > 0),
        "level": _number(figures.level[owner]),
        "level_of": figures.level_of[owner],
        "result": str(figures.word[owner]),
        "over_probability": _number(figures.over_probability[owner]),
        "evidence": _evidence(grid, figures, owner),
    }


def _evidence(grid: Grid, figures: Figures, owner: int) -> dict[str, Any]:
    return {
        "places": [_place(grid, figures, int(station)) for station in figures.hot.holders(owner)],
        "flags": sorted(name for name, marked in figures.flags.items() if marked[owner]),
        "interval": str(figures.why_no_interval[owner]),
    }


def _place(grid: Grid, figures: Figures, station: int) -> dict[str, Any]:
    """A station that holds most of the week's catch, with what its siting asks."""
    arrays, one = grid.arrays, slice(station, station + 1)
    windy, near = arrays.station_windy[one], arrays.station_near[one]
    return {
        "station": str(arrays.station_id[station]),
        "facility": str(arrays.station_facility[station]),
        "method": str(arrays.station_method[station]),
        "number": int(arrays.station_number[station]),
        "share": round(float(figures.hot.share[station]), 4),
        "weeks_at_top": int(figures.hot.weeks_at_top[station]),
        "near": str(near[0]),
        "windy": bool(windy[0]),
        "question": str(question_on_the_spot(windy, near)[0]),
    }


def _without_count(grid: Grid) -> dict[tuple[int, str], list[dict[str, Any]]]:
    """For each farm (index) and method the stations that were not counted this week, with the reason given."""
    arrays, found = grid.arrays, defaultdict(list)
    for reading in (grid.this_week & ~grid.counted_this_week).nonzero()[0]:
        station = int(arrays.station[reading])
        if grid.station_weeks.devices[station, -1] == 0:
            place = int(arrays.station_farm[station]), str(arrays.station_method[station])
            number = int(arrays.station_number[station])
            found[place].append(
                {
                    "station": str(arrays.station_id[station]),
                    "number": number,
                    "reason": str(arrays.reason[reading]),
                }
            )
    for rows in found.values():
        rows.sort(key=lambda row: (row["number"], row["reason"]))
    return found


def _first_of(one: float | None, other: float | None) -> float | None:
    """What the farm's weeks say of its level; where they are too few, what this week's count alone says."""
    return other if one is None else one


def _number(value: float) -> float | None:
    return None if math.isnan(value) else float(value)
