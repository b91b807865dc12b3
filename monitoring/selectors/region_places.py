"""Where a farm's own frozen week lies among its region's contributors: a third, and nothing else of what was frozen.

Read as whoever asks, under row security: of farms that they may see, and of no other.
"""

from collections.abc import Collection, Mapping
from datetime import date
from typing import NamedTuple
from uuid import UUID

from django.db.models import Q, QuerySet

from farms.lookups import array_of
from monitoring.models import Contribution


class RegionPlace(NamedTuple):
    """A farm's third (1 lower, 2 middle, 3 upper) in a method and week, once numbers were published of it."""

    farm_id: UUID
    method: str
    week: date
    third: int


def places_of_farm(farm_id: UUID, told: Mapping[str, Collection[date]]) -> QuerySet[Contribution]:
    """A farm's own frozen weeks that have a third, among the weeks that are told (by method).

    Of what was frozen nothing but method, week and third is read.
    """
    published = Q(pk__in=[])
    for method, weeks in told.items():
        published |= Q(method=method, week__in=weeks)
    rows = Contribution.objects.filter(published, farm_id=farm_id, third__isnull=False)
    return rows.only("farm_id", "method", "week", "third")


def places_of_farms(farm_ids: Collection[UUID], week: date) -> list[RegionPlace]:
    """The thirds of some farms in one week. One query."""
    rows = Contribution.objects.filter(farm_id__any_of=array_of(farm_ids), week=week, third__isnull=False)
    told = rows.values_list("farm_id", "method", "week", "third")
    return [RegionPlace(farm, method, at, third) for farm, method, at, third in told if third is not None]
