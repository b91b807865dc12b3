"""What is usual for a region at this time of year: from its own reports of earlier years, never from readings."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from uuid import UUID

import numpy as np

from monitoring.analysis.disclosure import rounded
from monitoring.models import RegionReport
from monitoring.models.region import Disclosure

YEARS = 6
AROUND = 2  # weeks before and after, so that one odd week of a year isn't its season
REPORTS_NEEDED = 5
# Four weeks in five of earlier years lay in it. Our own choice.
FROM, TO = 0.1, 0.9
Band = tuple[float | None, float | None]
NO_BAND: Band = (None, None)


@dataclass(frozen=True)
class UsualBands:
    """By method and part: the bands of the mean and of the ratio to the own normal."""

    mean: dict[tuple[str, str], Band]
    normal: dict[tuple[str, str], Band]

    def of(self, method: str, part: str) -> tuple[Band, Band]:
        return self.mean.get((method, part), NO_BAND), self.normal.get((method, part), NO_BAND)


def usual_bands(region_id: UUID, week: date, *, using: str) -> UsualBands:
    """The region's bands of a week (its Monday), from what was published of the same weeks of earlier years."""
    earlier = RegionReport.objects.using(using).filter(
        region_id=region_id, week__in=_same_weeks(week), disclosure=Disclosure.NUMBERS
    )
    means: dict[tuple[str, str], list[float | None]] = {}
    normals: dict[tuple[str, str], list[float | None]] = {}
    for method, part, mean, normal in earlier.values_list("method", "part", "mean", "normal"):
        means.setdefault((method, part), []).append(mean)
        normals.setdefault((method, part), []).append(normal)
    return UsualBands(
        {key: _band(some) for key, some in means.items()}, {k: _band(some) for k, some in normals.items()}
    )


def _same_weeks(week: date) -> list[date]:
    found = []
    for years in range(1, YEARS + 1):
        # 364 days are 52 weeks; a year's drift of a day or two is made good by whole weeks.
        then = week - timedelta(weeks=round(years * 365.2425 / 7))
        found += [then + timedelta(weeks=apart) for apart in range(-AROUND, AROUND + 1)]
    return found


def _band(values: Iterable[float | None]) -> Band:
    known = [value for value in values if value is not None]
    if len(known) < REPORTS_NEEDED:
        return NO_BAND
    low, high = np.quantile(known, [FROM, TO])
    return rounded(float(low)), rounded(float(high))
