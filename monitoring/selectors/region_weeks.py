"""What is published of a farm's region, week by week: what a work on the whole farm can be set beside.

Only frozen region reports are read that tell numbers of the whole region, as everybody outside reads them.
"""

import re
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from uuid import UUID

import numpy as np
from django.db.models import Max

from farms.models import Facility, Farm
from monitoring.analysis.shapes import Floats
from monitoring.models import RegionReport, Work
from monitoring.models.region import Disclosure

# The log variance of one farm's week about its region's: a shock of its own (sd 0.25) and counting, times what unlike
# farms take away from a mean. Our own choice, from the simulated farms.
OF_A_FARM = 0.25
SOONEST = timedelta(weeks=2)  # two weeks of counts after it
BEFORE = timedelta(weeks=5)  # of a work, and the week that holds its day
FEWEST = 10  # contributors behind any number


@dataclass(frozen=True)
class RegionWeek:
    """A region's published level of a method and week, on the log scale, and its variance."""

    log_level: float
    variance: float


@dataclass(frozen=True)
class RegionWeeks:
    """By region and method, the published weeks (their Monday)."""

    of: Mapping[tuple[UUID, str], Mapping[date, RegionWeek]]

    def levels(self, region_id: UUID, method: str, weeks: Collection[date]) -> tuple[Floats, Floats]:
        """Log levels and variances of some weeks, NaN where none is published."""
        known = self.of.get((region_id, method), {})
        found = [known.get(week) for week in weeks]
        levels = [np.nan if each is None else each.log_level for each in found]
        return np.array(levels, np.float64), np.array([np.nan if each is None else each.variance for each in found])


def region_weeks(region_ids: Collection[UUID], first: date, last: date, *, using: str = "region") -> RegionWeeks:
    """What was published of some regions from one Monday to another. One query, none for no region.

    The mean ratio to the farms' own normal, where all weeks have it, since it hangs less on who counted; else the mean.
    """
    if not region_ids:
        return RegionWeeks({})
    rows = RegionReport.objects.using(using).filter(
        region_id__in=list(region_ids), week__range=(first, last), part="", disclosure=Disclosure.NUMBERS
    )
    by_series: dict[tuple[UUID, str], list[RegionReport]] = {}
    for row in rows.order_by("week"):
        by_series.setdefault((row.region_id, row.method), []).append(row)
    return RegionWeeks({series: _levels(reports) for series, reports in by_series.items()})


def newest_report_beside(farm: Farm, since: date, on: date, *, using: str = "region") -> datetime | None:
    """When the newest report of its region came out, where a farm's work may stand beside one by now; else None.

    By it whatever tells of such works is known to be as old as the reports. Without any such work, no report is read.
    """
    whole = Work.objects.filter(farm_id=farm.id, done_on__range=(since, on - SOONEST))
    places = Facility.objects.filter(farm_id=farm.id).count()
    if not (whole if places == 1 else whole.filter(facility_id=None)).exists():
        return None
    rows = RegionReport.objects.using(using).filter(region_id=farm.region_id, week__gte=since - BEFORE)
    newest: datetime | None = rows.aggregate(newest=Max("published_at"))["newest"]
    return newest


def _levels(reports: list[RegionReport]) -> dict[date, RegionWeek]:
    by_normal = all(report.normal for report in reports)
    found = {}
    for report in reports:
        level = report.normal if by_normal else report.mean
        if level:
            found[report.week] = RegionWeek(float(np.log(level)), _variance(level, report.contributors))
    return found


def _variance(level: float, contributors: str) -> float:
    """Of a mean to two digits, uniform within its last one, and of so many farms at least."""
    last_digit = 10.0 ** (np.floor(np.log10(level)) - 1)
    number = re.match(r"\d+", contributors)
    return float((last_digit / level) ** 2 / 12 + OF_A_FARM / max(int(number.group()) if number else 0, FEWEST))
