"""What the weekly check concluded: always the latest revision of a week."""

from collections.abc import Collection
from datetime import date
from typing import TYPE_CHECKING, NamedTuple
from uuid import UUID

from django.db.models import F, Max, Q, QuerySet

from alerts.models import Assessment, CheckRun
from farms.lookups import array_of

if TYPE_CHECKING:
    from farms.models import Farm, Group


class WeekMean(NamedTuple):
    """What a week of a chart shows of a result; a tenth of what a whole one costs to read."""

    farm_id: UUID
    facility_id: UUID | None
    method: str
    week: date
    mean: float | None
    low: float | None
    high: float | None
    at_least: bool
    level: float | None
    result: str
    trend: str


UNTOLD_IN_LISTS = ("evidence", "judged_at", "p_value", "p_rise", "p_fall", "code_version")


def latest(rows: QuerySet[Assessment]) -> QuerySet[Assessment]:
    """The latest revision of each farm, facility, method and week among these rows, oldest week first.

    Within a week the whole farm comes before its facilities.
    """
    place = ("farm_id", "week", F("facility_id").asc(nulls_first=True), "method")
    return rows.order_by(*place, "-revision").distinct("farm_id", "week", "facility_id", "method")


def assessments_of(farm: "Farm", since: date) -> list[Assessment]:
    """A farm's results from a week (its Monday) on."""
    rows = Assessment.objects.filter(farm_id=farm.id, week__gte=since).select_related("facility")
    return list(latest(rows))


def assessments_of_farms(
    farm_ids: Collection[UUID], since: date, until: date, *, in_short: bool = False
) -> list[Assessment]:
    """The results of many farms from one week to another, both included; `in_short`, without what no list tells."""
    rows = Assessment.objects.filter(farm_id__any_of=array_of(farm_ids), week__range=(since, until))
    return list(latest(rows.defer(*UNTOLD_IN_LISTS) if in_short else rows))


def means_of_farms(
    farm_ids: Collection[UUID], since: date, until: date, facilities: Collection[UUID] | None = None
) -> list[WeekMean]:
    """The same results, with their figures alone; with `facilities`, those of whole farms and of these."""
    found = Assessment.objects.filter(farm_id__any_of=array_of(farm_ids), week__range=(since, until))
    if facilities is not None:
        found = found.filter(Q(facility_id__isnull=True) | Q(facility_id__any_of=array_of(facilities)))
    return [WeekMean(*row) for row in latest(found).values_list(*WeekMean._fields)]


def week_result(farm: "Farm", week: date) -> list[Assessment]:
    """A farm's results of one week: the whole farm's methods first, then facility by facility."""
    rows = Assessment.objects.filter(farm_id=farm.id, week=week).select_related("facility")
    return sorted(latest(rows), key=_by_walking_order)


def _by_walking_order(row: Assessment) -> tuple[int, str, str]:
    if row.facility is None:
        return -1, "", row.method
    return row.facility.position, row.facility.name, row.method


def newest_week(farm: "Farm") -> date | None:
    """The newest week (its Monday) that was judged for a farm."""
    found: date | None = Assessment.objects.filter(farm_id=farm.id).aggregate(newest=Max("week"))["newest"]
    return found


def run_of(group: "Group", week: date) -> CheckRun | None:
    """A group's run of the weekly check, if there is one."""
    return CheckRun.objects.filter(group_id=group.id, week=week).first()
