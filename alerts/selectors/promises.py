"""What an adviser has promised the farms they advise and not done yet: visits, calls, another look, a week to tell."""

from collections.abc import Collection, Iterator
from datetime import date, timedelta
from uuid import UUID

from alerts.models import AlertEvent, Assessment
from alerts.models.alert import EventKind
from alerts.selectors.told import farms_without_mail, told_of_farms
from farms.clock import monday_of
from farms.ledger import actors_of_entries
from farms.lookups import array_of
from farms.services import Promise, PromiseKind
from farms.visits import planned_of_adviser


def promises_of_adviser(user_id: UUID, farm_ids: Collection[UUID], today: date) -> list[Promise]:
    """Open from today on, on these farms; a farm that gets no mail is owed the last week, if it was judged."""
    found = [*_planned(user_id, farm_ids, today), *put_off_by(user_id, farm_ids, today), *_to_tell(farm_ids, today)]
    return sorted(found, key=lambda promise: (promise.day, promise.kind, promise.farm_id))


def _planned(user_id: UUID, farm_ids: Collection[UUID], today: date) -> Iterator[Promise]:
    for visit in planned_of_adviser(user_id, farm_ids, today):
        yield Promise(visit.farm_id, visit.kind, visit.day)


def put_off_by(user_id: UUID, farm_ids: Collection[UUID], today: date) -> Iterator[Promise]:
    """Open matters whose last putting off was theirs: the entry of the chain says whose it was. Two queries."""
    put_off = AlertEvent.objects.filter(
        farm_id__any_of=array_of(farm_ids), kind=EventKind.SNOOZED, alert__closed_at__isnull=True
    )
    last = put_off.order_by("farm_id", "alert_id", "-at", "-id").distinct("farm_id", "alert_id")
    found = list(last.values_list("farm_id", "entry", "evidence__until"))
    actors = actors_of_entries((farm_id, entry) for farm_id, entry, _until in found)
    for farm_id, entry, until in found:
        if actors.get((farm_id, entry)) == user_id and date.fromisoformat(until) >= today:
            yield Promise(farm_id, PromiseKind.PUT_OFF, date.fromisoformat(until))


def _to_tell(farm_ids: Collection[UUID], today: date) -> Iterator[Promise]:
    week = monday_of(today) - timedelta(weeks=1)
    judged = Assessment.objects.filter(farm_id__any_of=array_of(farm_ids), week=week)
    owed = set(judged.values_list("farm_id", flat=True)) & farms_without_mail(farm_ids, week)
    for farm_id in sorted(owed - set(told_of_farms(list(owed), week))):
        yield Promise(farm_id, PromiseKind.TELL, today)
