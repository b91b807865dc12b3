"""Readings and weekly summaries."""

from datetime import date, datetime
from uuid import UUID

from django.db.models import QuerySet

from farms.models import Farm
from monitoring.models import Reading, WeeklySummary
from monitoring.models.reading import ReadingQuerySet


def readings_of(farm: Farm) -> QuerySet[Reading]:
    """The farm's current readings, newest first: without what was corrected or withdrawn."""
    return Reading.objects.current().filter(farm_id=farm.id).order_by("-taken_on", "-id")


def arrivals_of(farm: Farm) -> ReadingQuerySet:
    """Every reading of the farm, corrections and what they correct too, in the order in which they were stored."""
    return Reading.objects.filter(farm_id=farm.id).order_by("entry", "id")


def readings_of_round(farm: Farm, round_id: UUID) -> QuerySet[Reading]:
    """All readings of a round, those corrected later and their corrections too, in walking order, oldest first."""
    readings = Reading.objects.filter(farm_id=farm.id, round_id=round_id)
    walking = ("station__facility__position", "station__facility__name", "station__position", "station__method")
    return readings.select_related("station", "station__facility").order_by(*walking, "station__number", "received_at")


def summaries_of(farm: Farm, method: str | None = None, since: date | None = None) -> QuerySet[WeeklySummary]:
    """The farm's weekly summaries, oldest week first; of one method, from the week of a day on, where asked."""
    summaries = WeeklySummary.objects.filter(farm_id=farm.id).order_by("week", "method")
    if method is not None:
        summaries = summaries.filter(method=method)
    return summaries if since is None else summaries.filter(week__gt=date.fromordinal(max(since.toordinal() - 7, 1)))


def farms_received_since(group_id: UUID, week: date, since: datetime, *, using: str = "default") -> set[UUID]:
    """The group's farms of which a reading or correction of the week (its Monday) came in at that moment or later."""
    touched = WeeklySummary.objects.using(using).filter(farm__group_id=group_id, week=week, last_received_at__gte=since)
    return set(touched.values_list("farm_id", flat=True))
