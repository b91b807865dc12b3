"""What is published of a farm's region, week by week: what a work on the whole farm can be set beside.

Only frozen region reports are read that tell numbers of the whole region, as everybody outside reads them.
"""

import re
from collections import defaultdict
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from uuid import UUID

import numpy as np
from django.db.models import Max

from farms.models import Farm
from monitoring.analysis.shapes import Floats
from monitoring.models import RegionReport, Work
from monitoring.models.region import Disclosure
from monitoring.selectors.application import standing_rows

# The log variance of one farm's week about its region's: a shock of its own (sd 0.25) and counting, times what unlike
# farms take away from a mean. Our own choice, from the simulated farms.
OF_A_FARM = 0.25
DAY = timedelta(days=1)
SOONEST = timedelta(weeks=2)  # two weeks of counts after it
BEFORE = timedelta(weeks=5)  # of a work, and the week that holds its day
FEWEST = 10  # contributors behind any number


@dataclass(frozen=True)
class RegionWeek:
    """What is published of a region's method and week: its mean, its mean ratio to the farms' own normal (None: not
    told), and behind how many farms at least it stands.
    """

    mean: float | None
    normal: float | None
    contributors: int


@dataclass(frozen=True)
class RegionWeeks:
    """By region and method, the published weeks (their Monday)."""

    of: Mapping[tuple[UUID, str], Mapping[date, RegionWeek]]

    def levels(self, region_id: UUID, method: str, weeks: Collection[date]) -> tuple[Floats, Floats]:
        """Log levels and variances of some weeks, NaN where none is published.

        Of the mean ratio to the farms' own normal, where all these weeks have it, since it hangs less on who counted;
        else of the mean.
        """
        of_series = self.of.get((region_id, method), {})
        known = {at: of_series[week] for at, week in enumerate(weeks) if week in of_series}
        by_normal = all(each.normal for each in known.values())
        levels, variances = (np.full(len(weeks), np.nan) for _each in range(2))
        for at, each in known.items():
            level = each.normal if by_normal else each.mean
            if level:
                levels[at], variances[at] = np.log(level), _variance(level, each.contributors)
        return levels, variances


def region_weeks(region_ids: Collection[UUID], first: date, last: date, *, using: str = "region") -> RegionWeeks:
    """What was published of some regions from one Monday to another. One query, none for no region."""
    if not region_ids:
        return RegionWeeks({})
    rows = RegionReport.objects.using(using).filter(
        region_id__in=list(region_ids), week__range=(first, last), part="", disclosure=Disclosure.NUMBERS
    )
    found: dict[tuple[UUID, str], dict[date, RegionWeek]] = defaultdict(dict)
    for row in rows:
        number = re.match(r"\d+", row.contributors)
        told = RegionWeek(row.mean, row.normal, int(number.group()) if number else 0)
        found[row.region_id, row.method][row.week] = told
    return RegionWeeks(found)


def newest_report_beside(farm: Farm, since: date, on: date, *, using: str = "region") -> datetime | None:
    """When the newest report of its region came out, where something done may stand beside one by now; else None.

    By it whatever tells of such works is known to be as old as the reports. Anything done may, in one barn as well:
    whether there is another to compare it with depends on what was counted. Where nothing was done, no report is read.
    """
    works = Work.objects.standing().filter(farm_id=farm.id, done_on__range=(since, on - SOONEST))
    days = (since - DAY, on - SOONEST + DAY)
    if not (works.exists() or standing_rows().filter(farm_id=farm.id, begins_at__date__range=days).exists()):
        return None
    rows = RegionReport.objects.using(using).filter(region_id=farm.region_id, week__gte=since - BEFORE)
    newest: datetime | None = rows.aggregate(newest=Max("published_at"))["newest"]
    return newest


def _variance(level: float, contributors: int) -> float:
    """Of a mean to two digits, uniform within its last one, and of so many farms at least."""
    last_digit = 10.0 ** (np.floor(np.log10(level)) - 1)
    return float((last_digit / level) ** 2 / 12 + OF_A_FARM / max(contributors, FEWEST))
