"""A region's reports of a season, and which farms' places among them somebody may know.

Reports are read through the region role, which can read these and nothing of a farm.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING
from uuid import UUID

from django.db.models import Count, Max, QuerySet

from monitoring.methods import METHODS
from monitoring.regional.selectors import reports_of_region, reports_of_week

if TYPE_CHECKING:
    from monitoring.models import RegionReport

WEEK = timedelta(weeks=1)
Place = tuple[str, str]  # method, part


@dataclass(frozen=True)
class RegionSeason:
    """A region's reports by method and part ("" the whole region) and week, from the first week to the newest one."""

    weeks: tuple[date, ...]
    reports: "Mapping[tuple[str, str, date], RegionReport]"

    @property
    def week(self) -> date | None:
        """The newest week of which there is a report."""
        return self.weeks[-1] if self.weeks else None

    @property
    def methods(self) -> list[str]:
        return [method for method in METHODS if any(method == found for found, _part, _week in self.reports)]

    def parts(self, method: str) -> list[str]:
        """The housings of which the newest week has a report of a method."""
        return sorted(part for found, part, week in self.reports if part and (found, week) == (method, self.week))

    def series(self, method: str, part: str = "") -> "list[RegionReport | None]":
        """A report for each of the weeks, None where there is none."""
        return [self.reports.get((method, part, week)) for week in self.weeks]

    def now(self, method: str, part: str = "") -> "RegionReport | None":
        return self.reports.get((method, part, self.week)) if self.week else None

    def by_week(self, method: str) -> "list[tuple[date, RegionReport | None]]":
        """Each week with the report of the whole region, None where there is none."""
        return list(zip(self.weeks, self.series(method), strict=True))

    def tells_normal(self, method: str) -> bool:
        """Whether any week tells how far from their own normal the farms of the whole region are."""
        return any(report is not None and report.normal is not None for report in self.series(method))

    def tells_numbers(self, method: str) -> bool:
        """Whether any week of the whole region is told in numbers."""
        return any(report is not None and report.disclosure == "numbers" for report in self.series(method))


NO_SEASON = RegionSeason((), {})


def season_of_region(region_id: UUID, since: date, until: date | None = None, *, using: str = "region") -> RegionSeason:
    """The reports from one week (its Monday) to another, both included. One query."""
    reports = reports_of_region(region_id, since=since, using=using)
    return season_of(reports if until is None else reports.filter(week__lte=until))


def season_of(reports: "Iterable[RegionReport]") -> RegionSeason:
    found = {(report.method, report.part, report.week): report for report in reports}
    known = [week for _method, _part, week in found]
    if not known:
        return NO_SEASON
    first, last = min(known), max(known)
    return RegionSeason(tuple(first + WEEK * number for number in range((last - first).days // 7 + 1)), found)


def groups_week(group_id: UUID, week: date) -> "Mapping[tuple[UUID, str], RegionReport]":
    """The reports of all regions of a group of one week, by region and method; of whole regions. One query."""
    reports: Sequence[RegionReport] = list(reports_of_week(group_id, week, using="region").filter(part=""))
    return {(report.region_id, report.method): report for report in reports}


@dataclass(frozen=True)
class Edition:
    """Which reports there are, and their newest week. None is ever changed, so what is drawn of them goes by it."""

    week: date | None
    number: int
    published_at: datetime | None

    def __str__(self) -> str:
        return f"{self.week} {self.number} {self.published_at}"


def edition_of_season(region_id: UUID, since: date) -> Edition:
    """Of a region from a week on. One query."""
    return _edition(reports_of_region(region_id, since=since))


def edition_of_week(group_id: UUID, week: date) -> Edition:
    """Of one week of all regions of a group. One query."""
    return _edition(reports_of_week(group_id, week, using="region"))


def _edition(reports: "QuerySet[RegionReport]") -> Edition:
    return Edition(**reports.aggregate(week=Max("week"), number=Count("id"), published_at=Max("published_at")))
