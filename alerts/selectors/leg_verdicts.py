"""Whether enough animals were looked at in a leg count, by the action level that applied on its day."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, TypeVar
from uuid import UUID

import numpy as np
from django.utils.functional import cached_property

from alerts.levels import FarmLevels, Level, Place
from alerts.selectors.borrowed import LegFigures
from alerts.selectors.levels import own_levels_of, set_levels_of_group
from monitoring.analysis.leg_verdict import LARGEST_LEVEL, SMALLEST_LEVEL, leg_verdicts
from monitoring.methods import LEG
from monitoring.selectors import stations_of

if TYPE_CHECKING:
    from farms.models import Farm
    from monitoring.models import Reading

Where = TypeVar("Where")


@dataclass(frozen=True)
class LegVerdict:
    """What one leg count says of its own animals, on its day.

    `word` is a code of monitoring.analysis.leg_verdict, `stopped_at` after how many animals it was enough (0 = never).
    `mean` is in flies an animal; `level` is the action level, None where none is set.
    """

    word: str
    stopped_at: int
    animals: int
    mean: float
    level: float | None


class LegVerdicts:
    """The verdicts of one farm's leg counts. What they need of the farm is read once, with the first leg count."""

    def __init__(self, farm: "Farm") -> None:
        self.farm = farm

    @cached_property
    def figures(self) -> LegFigures:
        return LegFigures(self.farm.group)

    @cached_property
    def facilities(self) -> dict[UUID, UUID]:
        """The facility of each station."""
        return {station.id: station.facility_id for station in stations_of(self.farm)}

    @cached_property
    def own(self) -> list[tuple[Place, Level]]:
        """Every level that the farm ever set, newest first."""
        return [
            (
                (row.facility_id, row.method),
                Level(row.value, row.unit, "facility" if row.facility_id else "farm", row.valid_from, row.reason),
            )
            for row in own_levels_of(self.farm)
        ]

    @cached_property
    def groups(self) -> list[tuple[str, Level]]:
        """Every level that its group ever set, newest first."""
        rows = set_levels_of_group(self.farm.group)
        return [(row.method, Level(row.value, row.unit, "group", row.valid_from, row.reason)) for row in rows]

    def levels_on(self, day: date) -> FarmLevels:
        """What applied on a day, as `levels_of` says it; for any number of days in two queries."""
        return FarmLevels(_newest(self.own, day), _newest(self.groups, day))

    def of(self, reading: "Reading") -> LegVerdict | None:
        """The verdict on a reading; None where no animals were counted."""
        if not reading.animals:
            return None
        facility_id = self.facilities.get(reading.station_id)
        level = self.levels_on(reading.taken_on).of(LEG.code, facility_id).value
        flies = np.array([reading.animals], np.float64)
        k = self.figures.on(reading.taken_on).k
        found = leg_verdicts(flies, np.array([level if can_plan(level) else np.nan], np.float64), k=k)
        return LegVerdict(
            str(found.verdict[0]), int(found.stopped_at[0]), int(found.animals[0]), float(found.mean[0]), level
        )


def can_plan(level: float | None) -> bool:
    """Whether a level is one that can be planned for: whoever sets it may type any number."""
    return level is not None and SMALLEST_LEVEL <= level <= LARGEST_LEVEL


def _newest(levels: Iterable[tuple[Where, Level]], day: date) -> dict[Where, Level]:
    """The newest level of each place that was valid on a day, of levels newest first."""
    found: dict[Where, Level] = {}
    for where, level in levels:
        if level.valid_from is not None and level.valid_from <= day:
            found.setdefault(where, level)
    return found
