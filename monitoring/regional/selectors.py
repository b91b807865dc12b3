"""Reads of region reports. Through the region role, which can read these and nothing of a farm."""

from datetime import date
from uuid import UUID

from django.db.models import QuerySet

from monitoring.models import RegionReport


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
