"""Readings and weekly summaries."""

from collections import defaultdict
from collections.abc import Collection, Iterator, Sequence
from datetime import date, datetime, timedelta
from uuid import UUID

import numpy as np
from django.db.models import QuerySet

from farms.lookups import array_of
from farms.models import Farm
from monitoring.analysis.weeks import week_of_exposure
from monitoring.models import Reading, Round, WeeklySummary
from monitoring.models.reading import ReadingQuerySet
from monitoring.rules.readings import MOST_DAYS_UP
from monitoring.selectors.stations import sited_of_farms

WALKING = ("station__facility__position", "station__facility__name", "station__position", "station__method")


def readings_of(farm: Farm) -> QuerySet[Reading]:
    """The farm's current readings, newest first: without what was corrected or withdrawn."""
    return Reading.objects.current().filter(farm_id=farm.id).order_by("-taken_on", "-id")


def last_counts(farm: Farm, day: date) -> dict[UUID, Reading]:
    """By station, the newest current reading with a count from the 60 days before a day; one query.

    Older ones are of another season, and say nothing beside a count of today.
    """
    newest = (
        Reading.objects.current()
        .counted()
        .filter(farm_id=farm.id, taken_on__range=(day - timedelta(days=MOST_DAYS_UP), day - timedelta(days=1)))
    )
    ordered = newest.order_by("station_id", "-taken_on", "-id").distinct("station_id")
    return {reading.station_id: reading for reading in ordered}


def arrivals_of(farm: Farm) -> ReadingQuerySet:
    """Every reading of the farm, corrections and what they correct too, in the order in which they were stored."""
    return Reading.objects.filter(farm_id=farm.id).order_by("entry", "id")


def readings_of_round(farm: Farm, round_id: UUID) -> QuerySet[Reading]:
    """All readings of a round, those corrected later and their corrections too, in walking order, oldest first."""
    return _walking(Reading.objects.filter(farm_id=farm.id, round_id=round_id))


def readings_received(farm_ids: Collection[UUID], since: datetime, *, after: date) -> dict[UUID, list[Reading]]:
    """By farm, what rounds received at that moment or later found of weeks after that Monday's.

    As `readings_of_round` gives them, each with its round, and with its station's `siting`; four queries.
    """
    later = WeeklySummary.objects.filter(
        farm_id__any_of=array_of(farm_ids), week__gt=after, last_received_at__gte=since
    )
    counting = array_of(set(later.values_list("farm_id", flat=True)))
    rounds = array_of(
        Round.objects.filter(farm_id__any_of=counting, received_at__gte=since).values_list("id", flat=True)
    )
    found = list(_walking(Reading.objects.filter(farm_id__any_of=counting, round_id__any_of=rounds), "round"))
    return _by_farm([reading for reading, week in _with_weeks(found) if week > after])


def readings_of_week(farm_ids: Collection[UUID], week: date) -> dict[UUID, list[Reading]]:
    """By farm, what was found of a week (its Monday), as `readings_received` gives it; two queries."""
    taken = (week, week + timedelta(days=6 + MOST_DAYS_UP))
    found = _walking(Reading.objects.filter(farm_id__any_of=array_of(farm_ids), taken_on__range=taken), "round")
    return _by_farm([reading for reading, own in _with_weeks(list(found)) if own == week])


def _walking(readings: QuerySet[Reading], *related: str) -> QuerySet[Reading]:
    ordered = readings.order_by(*WALKING, "station__number", "received_at")
    return ordered.select_related("station", "station__facility", *related)


def _with_weeks(readings: Sequence[Reading]) -> Iterator[tuple[Reading, date]]:
    """Each with the Monday of the week that holds the middle day of its exposure."""
    hung = np.array([reading.hung_on or reading.taken_on for reading in readings], "M8[D]")
    taken = np.array([reading.taken_on for reading in readings], "M8[D]")
    return zip(readings, week_of_exposure(hung, taken).tolist(), strict=True)


def _by_farm(readings: Sequence[Reading]) -> dict[UUID, list[Reading]]:
    found: dict[UUID, list[Reading]] = defaultdict(list)
    for reading in readings:
        found[reading.farm_id].append(reading)
    sited_of_farms(list(found), [reading.station for reading in readings])
    return dict(found)


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
