"""Reads of region reports. Through the region role, which can read these and nothing of a farm."""

from datetime import date
from uuid import UUID

from django.db.models import Max, QuerySet

from monitoring.models import HeldReport, RegionReport
from monitoring.models.region import Disclosure


def reports_of_region(
    region_id: UUID, *, method: str | None = None, since: date | None = None, using: str = "region"
) -> QuerySet[RegionReport]:
    """A region's reports, oldest week first."""
    reports = RegionReport.objects.using(using).filter(region_id=region_id).order_by("week", "method")
    if method is not None:
        reports = reports.filter(method=method)
    return reports if since is None else reports.filter(week__gte=since)


def reports_of_week(group_id: UUID, week: date, *, using: str = "default") -> QuerySet[RegionReport]:
    """What was published of a group's regions about an ISO week (its Monday), by region and method."""
    return RegionReport.objects.using(using).filter(region__group_id=group_id, week=week).order_by("region", "method")


def weeks_in_numbers(region_id: UUID, *, using: str = "region") -> dict[str, list[date]]:
    """By method, the weeks of which a region's report tells numbers: of those alone a place among others is told."""
    found: dict[str, list[date]] = {}
    rows = RegionReport.objects.using(using).filter(region_id=region_id, part="", disclosure=Disclosure.NUMBERS)
    for method, week in rows.values_list("method", "week"):
        found.setdefault(method, []).append(week)
    return found


def newest_published_week(group_id: UUID, *, using: str = "region") -> date | None:
    """The newest week (its Monday) of which any report of a group's regions is published."""
    reports = RegionReport.objects.using(using).filter(region__group_id=group_id)
    newest: date | None = reports.aggregate(newest=Max("week"))["newest"]
    return newest


def held_back(*, group_id: UUID | None = None, using: str = "region") -> list[HeldReport]:
    """What the audit held back and what has not come out since, newest week first; of one group or of all. Two queries.

    Nothing of a farm is in it: a region, a week and which question the audit could not answer with no.
    """
    rows = HeldReport.objects.select_related("region").order_by("-week", "region__name", "reason")
    held = list(rows if group_id is None else rows.filter(region__group_id=group_id))
    if not held:
        return []
    weeks = {each.week for each in held}
    out = RegionReport.objects.using(using).filter(week__in=weeks).values_list("region_id", "week").distinct()
    published = set(out)
    return [each for each in held if (each.region_id, each.week) not in published]
