"""What is concluded of each farm and each facility, as columns of Assessment: (n_owners,) each, NaN for NULL."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any
from uuid import UUID

import numpy as np
from numpy.typing import NDArray

from alerts.checks.evidence import evidence_of_farms, evidence_of_parts, evidence_parts
from alerts.checks.figures import Figures, figures_of
from alerts.checks.grid import Grid, Owners
from alerts.checks.outlook import Outlook
from alerts.checks.outlook_json import outlooks_json
from alerts.levels import FarmLevels
from monitoring.analysis.shapes import Bools, Floats, Ints

Column = NDArray[Any]
Columns = dict[str, Column]


def farm_columns(grid: Grid, figures: Figures, alike: Columns, outlook: Outlook) -> Columns:
    """Those of whole farms, their weeks among them; `alike` is what is `said_alike` of them."""
    return alike | {
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
        "evidence": _objects(evidence_of_farms(grid, figures, alike["evidence"], outlook.reason)),
    }


@dataclass(frozen=True)
class FacilityRows:
    """Columns of every facility and method, and which of them (by index) are judged.

    `alone` (n_owners,) marks the farms and methods of which one facility only is judged.
    """

    columns: Columns
    to_judge: Ints
    alone: Bools


def facility_rows(grid: Grid, farms: Figures, alike: Columns, levels: Mapping[UUID, FarmLevels]) -> FacilityRows:
    """Those of facilities. Most farms use a method in one facility, of which what is said of the farm is true."""
    places = grid.facility_owners
    farm_row = np.empty(len(places), np.int64)
    farm_row[places.of_station] = farms.owners.of_station
    unlike = _unlike_the_farm(places, farm_row, [levels[farm_id] for farm_id in grid.arrays.farm_ids])
    columns, pick = alike, farm_row.copy()
    if unlike.any():
        their_grid = grid.of_stations(unlike[places.of_station])
        own = said_alike(their_grid, figures_of(their_grid, their_grid.facility_owners, levels))
        columns = {name: np.concatenate([column, own[name]]) for name, column in alike.items()}
        pick[unlike] = len(farms.owners) + np.arange(np.count_nonzero(unlike))
    told = {name: column[pick] for name, column in columns.items()}
    told |= {"facility_id": _objects(places.facility), "evidence": _objects(evidence_of_parts(told["evidence"]))}
    judged = np.bincount(farm_row[places.to_judge], minlength=len(farms.owners))
    return FacilityRows(told | _nothing_of(len(places)), places.to_judge, np.asarray(judged == 1, np.bool_))


def _unlike_the_farm(places: Owners, farm_row: Ints, levels: Sequence[FarmLevels]) -> Bools:
    """Facilities that share their farm's stations with others, and those that may have a level of their own."""
    shared = np.bincount(farm_row)[farm_row] > 1
    own_levels = np.array([bool(each.own) for each in levels], np.bool_)
    return shared | own_levels[places.farm]


def said_alike(grid: Grid, figures: Figures) -> Columns:
    """What is said of a farm and of a facility alike; `evidence` is only begun (`evidence_parts`).

    `late`: the counts all came more than two weeks late.
    """
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
        "evidence": _objects(evidence_parts(grid, figures)),
        "late": figures.flags["late"],
    }


def _nothing_of(number: int) -> Columns:
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
