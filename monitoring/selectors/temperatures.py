"""Daily temperatures: what a farm and its region gave, and both together, the farm's own going before its region's."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any
from uuid import UUID

import numpy as np
from django.db.models import QuerySet

from farms.models import Farm, Region
from monitoring.analysis.normal_temperatures import DayTemperatures
from monitoring.analysis.shapes import Bools, Ints
from monitoring.models import DailyTemperature, FarmTemperature


@dataclass(frozen=True)
class DayShown:
    """A day's temperatures and whose they are; None where nobody gave any. [degrees Celsius]"""

    day: date
    lowest: float | None = None
    highest: float | None = None
    is_own: bool = False


@dataclass(frozen=True)
class FarmDays:
    """The temperatures of some farms as arrays.

    Farms without their own share the row of their region: `place` (n_farms,) is each farm's row in `temperatures` and
    in `is_own` (n_places, n_days), which marks the farm's own days.
    """

    place: Ints
    temperatures: DayTemperatures
    is_own: Bools


def temperatures_of_farm(
    farm: Farm, *, since: date | None = None, until: date | None = None
) -> QuerySet[FarmTemperature]:
    """A farm's own days, newest first."""
    return _between(FarmTemperature.objects.filter(farm_id=farm.id), since, until).order_by("-day")


def temperatures_of_region(
    region: Region, *, since: date | None = None, until: date | None = None
) -> QuerySet[DailyTemperature]:
    """A region's days, newest first."""
    return _between(DailyTemperature.objects.filter(region_id=region.id), since, until).order_by("-day")


def _between(rows: QuerySet[Any], since: date | None, until: date | None) -> QuerySet[Any]:
    rows = rows if since is None else rows.filter(day__gte=since)
    return rows if until is None else rows.filter(day__lte=until)


def last_days(region: Region, until: date, n_days: int, farm: Farm | None = None) -> list[DayShown]:
    """The last days up to one, newest first: a farm's as they are reckoned with, or only its region's."""
    since = until - timedelta(days=n_days - 1)
    own = temperatures_of_farm(farm, since=since, until=until) if farm else ()
    shown = {row.day: DayShown(row.day, row.min_c, row.max_c) for row in temperatures_of_region(region, since=since)}
    shown |= {row.day: DayShown(row.day, row.min_c, row.max_c, is_own=True) for row in own}
    days = [until - timedelta(days=back) for back in range(n_days)]
    return [shown.get(day, DayShown(day)) for day in days]


def temperatures_of_farms(farms: Sequence[Farm], first: date, last: date) -> FarmDays:
    """What is known of the days from `first` to `last` on each farm. Two queries, however many farms."""
    n_days = (last - first).days + 1
    days = {"day__gte": first, "day__lte": last}
    of_regions = _rows(
        DailyTemperature.objects.filter(region_id__in={farm.region_id for farm in farms}, **days), "region_id"
    )
    of_farms = _rows(FarmTemperature.objects.filter(farm_id__in=[farm.id for farm in farms], **days), "farm_id")
    with_own = {row[0] for row in of_farms}
    keys = {farm.id: farm.id if farm.id in with_own else farm.region_id for farm in farms}
    places = {key: number for number, key in enumerate(dict.fromkeys(keys.values()))}
    known = np.full((2, len(places), n_days), np.nan)
    is_own = np.zeros((len(places), n_days), np.bool_)
    _put(known, of_regions, _places_of_regions(farms, keys, places), first)
    own_places = {farm_id: [places[farm_id]] for farm_id in with_own}
    _put(known, of_farms, own_places, first)
    for farm_id, day, _lowest, _highest in of_farms:
        is_own[places[farm_id], (day - first).days] = True
    place = np.array([places[keys[farm.id]] for farm in farms], np.int64)
    return FarmDays(place, DayTemperatures.of(np.datetime64(first), known[0], known[1]), is_own)


Row = tuple[UUID, date, float, float]


def _rows(found: QuerySet[Any], whose: str) -> list[Row]:
    return list(found.values_list(whose, "day", "min_c", "max_c"))


def _places_of_regions(farms: Sequence[Farm], keys: dict[UUID, UUID], places: dict[UUID, int]) -> dict[UUID, list[int]]:
    """The rows that each region's days go to: its own, and those of its farms that measure for themselves."""
    found: dict[UUID, set[int]] = {}
    for farm in farms:
        found.setdefault(farm.region_id, set()).add(places[keys[farm.id]])
    return {region_id: sorted(rows) for region_id, rows in found.items()}


def _put(known: Any, rows: Sequence[Row], places: dict[UUID, list[int]], first: date) -> None:
    for whose, day, lowest, highest in rows:
        known[:, places[whose], (day - first).days] = [[lowest], [highest]]
