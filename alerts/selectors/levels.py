"""Which action levels applied on a day. A week is judged by what applied on its Sunday."""

from collections.abc import Iterable
from datetime import date
from typing import TYPE_CHECKING, TypeVar
from uuid import UUID

from django.db.models import QuerySet

from alerts.levels import FarmLevels, Level, Place
from alerts.models import FarmLevel, GroupLevel
from farms.lookups import array_of

if TYPE_CHECKING:
    from farms.models import Farm, Group

Row = TypeVar("Row", FarmLevel, GroupLevel)


def levels_of(farm: "Farm", on: date) -> FarmLevels:
    """What applied on a farm on a day."""
    return levels_of_farms(farm.group_id, [farm.id], on)[farm.id]


def levels_of_group(group_id: UUID, on: date) -> dict[str, Level]:
    """The group's own levels on a day, by method; a method without one is absent."""
    rows = _latest(GroupLevel.objects.filter(group_id=group_id, valid_from__lte=on), "method")
    return {row.method: Level(row.value, row.unit, "group", row.valid_from, row.reason) for row in rows}


def levels_of_farms(group_id: UUID, farm_ids: Iterable[UUID], on: date) -> dict[UUID, FarmLevels]:
    """What applied on each of a group's farms on a day; two queries, however many farms."""
    group = levels_of_group(group_id, on)
    own: dict[UUID, dict[Place, Level]] = {farm_id: {} for farm_id in farm_ids}
    rows = FarmLevel.objects.filter(farm_id__any_of=array_of(own), valid_from__lte=on)
    for row in _latest(rows, "farm_id", "facility_id", "method"):
        level_of = "farm" if row.facility_id is None else "facility"
        level = Level(row.value, row.unit, level_of, row.valid_from, row.reason)
        own[row.farm_id][row.facility_id, row.method] = level
    # Few farms set levels of their own.
    usual = FarmLevels({}, group)
    return {farm_id: FarmLevels(levels, group) if levels else usual for farm_id, levels in own.items()}


def _latest(rows: QuerySet[Row], *place: str) -> QuerySet[Row]:
    """The row of each place that is valid from the latest day; of two from one day, the one set later."""
    return rows.order_by(*place, "-valid_from", "-set_at", "-id").distinct(*place)


def own_levels_of(farm: "Farm") -> QuerySet[FarmLevel]:
    """Every level that the farm ever set for itself or for a facility, newest first."""
    return FarmLevel.objects.filter(farm_id=farm.id).order_by("-valid_from", "-set_at", "-id")


def set_levels_of_group(group: "Group") -> QuerySet[GroupLevel]:
    """Every level that the group ever set, newest first."""
    return GroupLevel.objects.filter(group_id=group.id).order_by("-valid_from", "-set_at", "-id")
