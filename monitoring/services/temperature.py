"""Daily temperatures of a region, as they come from a weather service or a file."""

import math
from collections.abc import Sequence
from datetime import date

from django.db import transaction
from django.utils.translation import gettext_lazy as _

from farms.errors import Detail
from farms.models import Region
from monitoring.errors import TemperatureRefused
from monitoring.models import DailyTemperature

COLDEST, HOTTEST = -90.0, 60.0
NO_TEMPERATURE = _("These are no temperatures of a day in degrees Celsius. Give the lowest and the highest.")
TURNED_ROUND = _("The lowest temperature of a day can't be above the highest. Exchange them or correct one.")
DAY_TWICE = _("This day stands here twice. Keep one of them.")


@transaction.atomic
def record_temperatures(*, region: Region, days: Sequence[tuple[date, float, float]]) -> int:
    """Store each day's lowest and highest temperature [degrees Celsius]; a known day is replaced. Returns how many.

    Raises TemperatureRefused.
    """
    errors = _faults(days)
    if errors:
        raise TemperatureRefused(errors=errors)
    rows = [DailyTemperature(region_id=region.id, day=day, min_c=low, max_c=high) for day, low, high in days]
    DailyTemperature.objects.bulk_create(
        rows, update_conflicts=True, unique_fields=["region", "day"], update_fields=["min_c", "max_c"]
    )
    return len(rows)


def _faults(days: Sequence[tuple[date, float, float]]) -> list[Detail]:
    errors, seen = [], set()
    for place, (day, low, high) in enumerate(days):
        if day in seen:
            errors.append(Detail(f"/days/{place}", str(DAY_TWICE), "day_twice"))
        if not all(math.isfinite(each) and COLDEST <= each <= HOTTEST for each in (low, high)):
            errors.append(Detail(f"/days/{place}", str(NO_TEMPERATURE), "not_a_temperature"))
        elif low > high:
            errors.append(Detail(f"/days/{place}", str(TURNED_ROUND), "turned_round"))
        seen.add(day)
    return errors
