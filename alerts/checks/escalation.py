"""What nobody on a farm has looked at for seven days is told to its adviser. Found by "due and not done"."""

from datetime import datetime, timedelta
from typing import TYPE_CHECKING
from uuid import UUID

from django.db import transaction
from django.db.models import Exists, OuterRef, Q, QuerySet
from django.db.models.functions import Coalesce

from alerts.models import Alert, AlertEvent
from alerts.models.alert import BY_SOMEBODY, WAITS_FOR_VISITS, EventKind, Rule
from alerts.services.alert import event_hash
from farms.clock import local_date, monday_of
from farms.closures import closed_farms
from farms.ids import uuid7
from farms.ledger import Actor, lock_heads, next_number
from farms.ledger_entries import append_to_each
from farms.lookups import array_of

if TYPE_CHECKING:
    from farms.models import Group

UNSEEN_FOR = timedelta(days=7)
AT_ONCE = 500
SERVICE = Actor("service", None)
# How devices hang is put right on the next round; it isn't worth an adviser's Monday.
STAYS_ON_THE_FARM = (Rule.SITING,)


def escalate_unseen(group: "Group", now: datetime) -> int:
    """Note of every alert that is open and unseen for seven days that its adviser is told. Returns how many.

    What waits while a farm is closed to visits is told when it is open again.
    """
    done, waiting = 0, _waiting(group, now)
    while alerts := list(_unseen(group, now).exclude(waiting)[:AT_ONCE]):
        _escalate(alerts, group, now)
        done += len(alerts)
    return done


def _waiting(group: "Group", now: datetime) -> Q:
    """What asks for a visit on farms that take no visitors."""
    asking = Alert.objects.filter(farm__group_id=group.id, rule__in=WAITS_FOR_VISITS, closed_at__isnull=True)
    farms = set(asking.filter(escalated_at__isnull=True).values_list("farm_id", flat=True))
    closed = closed_farms(farms, local_date(now, group.time_zone))
    return Q(rule__in=WAITS_FOR_VISITS, farm_id__any_of=array_of(closed))


def _unseen(group: "Group", now: datetime) -> QuerySet[Alert]:
    since = Coalesce("reopened_at", "opened_at")
    alerts = Alert.objects.filter(farm__group_id=group.id, closed_at__isnull=True, escalated_at__isnull=True)
    alerts = alerts.exclude(rule__in=STAYS_ON_THE_FARM).annotate(since=since).filter(since__lte=now - UNSEEN_FOR)
    seen = AlertEvent.objects.filter(
        farm_id=OuterRef("farm_id"), alert_id=OuterRef("id"), kind__in=BY_SOMEBODY, at__gte=OuterRef("since")
    )
    return alerts.exclude(Exists(seen)).order_by("farm_id", "id")


@transaction.atomic
def _escalate(alerts: list[Alert], group: "Group", now: datetime) -> None:
    farms, ids = {alert.farm_id for alert in alerts}, [alert.id for alert in alerts]
    heads = lock_heads(farms)
    # Another worker may have been here while we waited for the heads.
    waiting = Alert.objects.filter(farm_id__any_of=array_of(farms), id__any_of=array_of(ids), escalated_at__isnull=True)
    still = set(waiting.filter(closed_at__isnull=True).values_list("id", flat=True))
    events = [
        AlertEvent(
            farm_id=alert.farm_id, id=uuid7(), alert_id=alert.id, kind=EventKind.ESCALATED, at=now,
            week=monday_of(local_date(now, group.time_zone)), evidence={"days": UNSEEN_FOR.days},
            actor_kind=SERVICE.kind, entry=next_number(heads[alert.farm_id]),
        )
        for alert in alerts if alert.id in still
    ]  # fmt: skip
    AlertEvent.objects.bulk_create(events)
    waiting.filter(closed_at__isnull=True).update(escalated_at=now)
    hashes: dict[UUID, list[bytes]] = {}
    for event in events:
        hashes.setdefault(event.farm_id, []).append(event_hash(event))
    append_to_each({farm: heads[farm] for farm in hashes}, hashes, kind="alerts", actor=SERVICE, now=now)
