"""A region's reports of a season, and which farms' places among them somebody may know.

Reports are read through the region role, which can read these and nothing of a farm.
"""

import hashlib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING
from uuid import UUID

from django.db.models import Count, Max

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
    def edition(self) -> str:
        """Which reports these are: as none is ever changed, what is drawn from them goes by it."""
        ids = sorted(report.id.bytes for report in self.reports.values())
        return hashlib.sha256(b"".join(ids)).hexdigest()

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


def season_of_region(region_id: UUID, since: date, until: date | None = None, *, using: str = "region") -> RegionSeason:
    """The reports from one week (its Monday) to another, both included. One query."""
    reports = reports_of_region(region_id, since=since, using=using)
    return season_of(reports if until is None else reports.filter(week__lte=until))


def season_of(reports: "Iterable[RegionReport]") -> RegionSeason:
    found = {(report.method, report.part, report.week): report for report in reports}
    known = [week for _method, _part, week in found]
    if not known:
        return RegionSeason((), {})
    first, last = min(known), max(known)
    return RegionSeason(tuple(first + WEEK * number for number in range((last - first).days // 7 + 1)), found)


def groups_week(group_id: UUID, week: date) -> "Mapping[tuple[UUID, str], RegionReport]":
    """The reports of all regions of a group of one week, by region and method; of whole regions. One query."""
    reports: Sequence[RegionReport] = list(reports_of_week(group_id, week, using="region").filter(part=""))
    return {(report.region_id, report.method): report for report in reports}


def edition_of_week(group_id: UUID, week: date) -> str:
    """Which reports of a group's week there are: none is ever changed, and none goes. One query."""
    told = reports_of_week(group_id, week, using="region").aggregate(number=Count("id"), newest=Max("published_at"))
    return f"{told['number']} {told['newest']}"
