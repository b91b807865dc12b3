"""Daily temperatures of a farm or a region, as they come from a thermometer, a weather service or a file.

All of what is sent is stored, or nothing. A day that is known is replaced: weather is no count, and not in the chain.
"""

from datetime import date, datetime

from django.db import transaction

from farms.clock import local_date
from farms.models import Farm, Region
from monitoring.errors import TemperatureRefused, TooManyDays
from monitoring.models import DailyTemperature, FarmTemperature
from monitoring.rules.table import MOST_NAMED
from monitoring.rules.temperatures import MOST_DAYS, TemperatureTable, faults_of


@transaction.atomic
def record_temperatures(*, region: Region, table: TemperatureTable, now: datetime) -> int:
    """Store each day's lowest and highest temperature in a region. Returns how many days.

    The entry point lets the group's coordinators in only. Raises TemperatureRefused or TooManyDays.
    """
    _check(table, local_date(now, region.group.time_zone))
    rows = [DailyTemperature(region_id=region.id, day=day, min_c=low, max_c=high) for day, low, high in table.days]
    DailyTemperature.objects.bulk_create(
        rows, update_conflicts=True, unique_fields=["region", "day"], update_fields=["min_c", "max_c"]
    )
    return len(rows)


@transaction.atomic
def record_farm_temperatures(*, farm: Farm, table: TemperatureTable, now: datetime) -> int:
    """Store each day's lowest and highest temperature on a farm, which go before its region's. Returns how many days.

    Raises TemperatureRefused or TooManyDays.
    """
    _check(table, local_date(now, farm.time_zone))
    rows = [
        FarmTemperature(farm_id=farm.id, day=day, min_c=low, max_c=high, recorded_at=now)
        for day, low, high in table.days
    ]
    FarmTemperature.objects.bulk_create(
        rows, update_conflicts=True, unique_fields=["farm", "day"], update_fields=["min_c", "max_c", "recorded_at"]
    )
    return len(rows)


def _check(table: TemperatureTable, today: date) -> None:
    if len(table.days) > MOST_DAYS:
        raise TooManyDays(days=f"{MOST_DAYS:,}")
    errors = faults_of(table, today)
    if errors:
        raise TemperatureRefused(errors=errors[:MOST_NAMED])
