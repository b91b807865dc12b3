"""Somebody has looked at an alert."""

from datetime import datetime

from django.db import transaction
from django.utils.translation import gettext_lazy as _

from alerts.models import Alert, AlertEvent
from alerts.models.alert import EventKind
from farms.clock import local_date, monday_of
from farms.errors import Conflict
from farms.ledger import Actor, append, lock_heads, next_number, row_hash, row_values


class AlertClosed(Conflict):
    code = "alert_closed"
    message = _("This alert is closed already. Load the page again to see what is open now.")


@transaction.atomic
def mark_seen(*, alert: Alert, actor: Actor, now: datetime) -> AlertEvent:
    """Note that somebody looked at an open alert; looking twice in a row is one event. Raises AlertClosed."""
    head = lock_heads([alert.farm_id])[alert.farm_id]
    events = AlertEvent.objects.filter(farm_id=alert.farm_id, alert_id=alert.id)
    last = events.order_by("at", "id").last()
    if last is not None and last.kind == EventKind.CLOSED:
        raise AlertClosed()
    if last is not None and (last.kind, last.actor_kind) == (EventKind.SEEN, actor.kind):
        return last
    week = monday_of(local_date(now, alert.farm.time_zone))
    event = AlertEvent.objects.create(
        farm_id=alert.farm_id, alert_id=alert.id, kind=EventKind.SEEN, week=week, at=now, actor_kind=actor.kind,
        entry=next_number(head),
    )  # fmt: skip
    append(head, kind="alert_seen", actor=actor, row_hashes=[event_hash(event)], now=now)
    return event


def event_hash(event: AlertEvent) -> bytes:
    """What the chain holds of an alert's event: the whole row."""
    return row_hash(event._meta.db_table, row_values(event))
