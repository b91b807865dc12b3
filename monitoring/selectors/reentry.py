"""Kept out: which re-entry times run on a farm, which were typed, and which days they take out of its rounds."""

from collections import defaultdict
from collections.abc import Collection
from datetime import date, datetime, timedelta
from uuid import UUID

from django.db.models import Exists, F, OuterRef, Q, QuerySet

from farms.lookups import array_of
from farms.models import Farm
from monitoring.models import Reentry, Station
from monitoring.rules.reentry import LONGEST, days_of


def reentries_of(farm: Farm) -> QuerySet[Reentry]:
    """All that was typed, newest first; `replaced` marks what a later one replaced."""
    rows = Reentry.objects.filter(farm_id=farm.id).select_related("facility", "replaces")
    return rows.annotate(replaced=_later()).order_by("-recorded_at", "-id")


def kept_out_of(farm: Farm, at: datetime) -> list[Reentry]:
    """The re-entry times that run at a moment, that which ends last first."""
    return list(standing_of(farm).filter(begins_at__lte=at, until__gt=at).order_by("-until", "id"))


def kept_out_about(farm: Farm, at: datetime, about: timedelta) -> list[Reentry]:
    """Those that run at a moment, ended shortly before it, or begin shortly after it; that which ends last first."""
    return list(standing_of(farm).filter(begins_at__lte=at + about, until__gt=at - about).order_by("-until", "id"))


def standing_of(farm: Farm) -> QuerySet[Reentry]:
    """Those that no later one replaced."""
    return reentries_of(farm).filter(~_later())


def replaced_by(reentry: Reentry) -> list[Reentry]:
    """What stood before a re-entry time, newest first, each replaced by the one before it in the list."""
    found = []
    before = reentry.replaces
    while before is not None:
        found.append(before)
        before = before.replaces
    return found


def days_kept_out(farm_ids: Collection[UUID], seen_from: date, *, using: str = "default") -> dict[UUID, set[date]]:
    """The days on which no round can be walked on a farm, for re-entry times hold the whole of it, or every building
    where something is counted. Two queries at most, none for no farms.
    """
    if not farm_ids:
        return {}
    rows = Reentry.objects.using(using).filter(~_later(), farm_id__any_of=array_of(farm_ids))
    # None is longer than this, and a round that was due longer ago isn't put off by it any more.
    recent = rows.filter(until__date__gte=seen_from - LONGEST).values_list(
        "farm_id", "facility_id", "begins_at", "until", F("farm__time_zone")
    )
    places: dict[UUID, dict[date, set[UUID | None]]] = defaultdict(lambda: defaultdict(set))
    for farm_id, facility_id, begins_at, until, zone in recent:
        for day in days_of(begins_at, until, zone):
            places[farm_id][day].add(facility_id)
    counted = _counted_places(list(places), seen_from, using=using) if places else {}
    return {
        farm_id: {day for day, kept in days.items() if None in kept or counted.get(farm_id, {None}) <= kept}
        for farm_id, days in places.items()
    }


def _counted_places(farm_ids: Collection[UUID], day: date, *, using: str) -> dict[UUID, set[UUID | None]]:
    """The buildings of each farm that have a card, trap or leg count in use."""
    in_use = Station.objects.using(using).filter(Q(until__isnull=True) | Q(until__gte=day), farm_id__in=list(farm_ids))
    found: dict[UUID, set[UUID | None]] = defaultdict(set)
    for farm_id, facility_id in in_use.values_list("farm_id", "facility_id").distinct():
        found[farm_id].add(facility_id)
    return found


def newest_of(reentry: Reentry) -> Reentry:
    """What stands now in place of a re-entry time: itself, or the last of those that replaced it."""
    following = {row.replaces_id: row for row in Reentry.objects.filter(farm_id=reentry.farm_id)}
    while reentry.id in following:
        reentry = following[reentry.id]
    return reentry


def _later() -> Exists:
    return Exists(Reentry.objects.filter(farm_id=OuterRef("farm_id"), replaces_id=OuterRef("id")))
