"""Which action levels applied on a day. A week is judged by what applied on its Sunday."""

from collections import defaultdict
from collections.abc import Collection, Iterable
from datetime import date
from typing import TYPE_CHECKING
from uuid import UUID

from django.db import connection
from django.db.models import QuerySet

from alerts.levels import FarmLevels, Level, Place
from alerts.models import FarmLevel, GroupLevel
from farms.lookups import array_of

if TYPE_CHECKING:
    from farms.models import Farm, Group

# The row of each place that is valid from the latest day; of two from one day, the one set later.
LEVELS = """
(SELECT DISTINCT ON (method) NULL::uuid, NULL::uuid, method, taken_back, value, unit, valid_from, reason
 FROM alerts_grouplevel WHERE group_id = %(group)s AND valid_from <= %(on)s
 ORDER BY method, valid_from DESC, set_at DESC, id DESC)
UNION ALL
(SELECT DISTINCT ON (farm_id, facility_id, method)
        farm_id, facility_id, method, taken_back, value, unit, valid_from, reason
 FROM alerts_farmlevel WHERE farm_id = ANY(%(farms)s::uuid[]) AND valid_from <= %(on)s
 ORDER BY farm_id, facility_id, method, valid_from DESC, set_at DESC, id DESC)
"""


def levels_of(farm: "Farm", on: date) -> FarmLevels:
    """What applied on a farm on a day."""
    return levels_of_farms(farm.group_id, [farm.id], on)[farm.id]


def levels_of_group(group_id: UUID, on: date) -> dict[str, Level]:
    """The group's own levels on a day, by method; a method without one is absent."""
    return _levels(group_id, [], on)[0]


def levels_of_farms(group_id: UUID, farm_ids: Iterable[UUID], on: date) -> dict[UUID, FarmLevels]:
    """What applied on each of a group's farms on a day; one query, however many farms."""
    wanted = list(farm_ids)
    group, own = _levels(group_id, wanted, on)
    # Few farms set levels of their own.
    usual = FarmLevels({}, group)
    return {farm_id: FarmLevels(own[farm_id], group) if farm_id in own else usual for farm_id in wanted}


def _levels(
    group_id: UUID, farm_ids: Collection[UUID], on: date
) -> tuple[dict[str, Level], dict[UUID, dict[Place, Level]]]:
    """The group's levels by method, and those of each farm that set any by place."""
    group: dict[str, Level] = {}
    own: dict[UUID, dict[Place, Level]] = defaultdict(dict)
    with connection.cursor() as cursor:
        cursor.execute(LEVELS, {"group": group_id, "farms": array_of(farm_ids).text, "on": on})
        for farm_id, facility_id, method, *told in cursor.fetchall():
            taken_back, value, unit, valid_from, reason = told
            if taken_back:
                continue  # what stands above it applies
            if farm_id is None:
                group[method] = Level(value, unit, "group", valid_from, reason)
            else:
                level_of = "farm" if facility_id is None else "facility"
                own[farm_id][facility_id, method] = Level(value, unit, level_of, valid_from, reason)
    return group, own


def own_levels_of(farm: "Farm") -> QuerySet[FarmLevel]:
    """Every level that the farm ever set for itself or for a facility, newest first."""
    return FarmLevel.objects.filter(farm_id=farm.id).order_by("-valid_from", "-set_at", "-id")


def set_levels_of_group(group: "Group") -> QuerySet[GroupLevel]:
    """Every level that the group ever set, newest first."""
    return GroupLevel.objects.filter(group_id=group.id).order_by("-valid_from", "-set_at", "-id")
