"""What somebody did about an alert: looked at it, acknowledged it with a note, put it off, did some work.

None of it ends an alert: the counts do. Each is an event of its history and one entry of the farm's chain.
"""

import secrets
from collections.abc import Mapping
from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING, Any

from django.db import transaction
from django.utils.translation import gettext_lazy as _

from alerts.models import Alert, AlertEvent, AlertNote, AlertWork
from alerts.models.alert import EventKind
from farms.clock import local_date, monday_of
from farms.errors import Conflict, Invalid
from farms.ledger import Actor, append, lock_heads, next_number, row_hash, row_values, salted

if TYPE_CHECKING:
    from farms.models import LedgerHead
    from monitoring.models import Work

LONGEST_NOTE = 2000
LONGEST_PUT_OFF = timedelta(days=60)


class AlertClosed(Conflict):
    code = "alert_closed"
    message = _("This alert is closed already. Load the page again to see what is open now.")


class NoteTooLong(Invalid):
    code = "note_too_long"
    message = _("The note is longer than 2,000 characters. Shorten it.")


class PutOffTooFar(Invalid):
    code = "put_off_too_far"
    message = _("Choose a day from {first:%Y-%m-%d} to {last:%Y-%m-%d}: what is open comes back on that day.")


class WorkBeforeAlert(Invalid):
    code = "work_before_alert"
    message = _("This work was done before the week of {week:%Y-%m-%d}, in which the alert opened. Choose later work.")


@transaction.atomic
def mark_seen(*, alert: Alert, actor: Actor, now: datetime) -> AlertEvent:
    """Note that somebody looked at an open alert; looking twice in a row is one event. Raises AlertClosed."""
    head = lock_heads([alert.farm_id])[alert.farm_id]
    last = _last_event(alert)
    if last is not None and (last.kind, last.actor_kind) == (EventKind.SEEN, actor.kind):
        return last
    event = _event(alert, EventKind.SEEN, actor, head, now)
    _chain(head, actor, [event_hash(event)], now)
    return event


@transaction.atomic
def acknowledge(*, alert: Alert, note: str, actor: Actor, now: datetime) -> AlertEvent:
    """Note that somebody takes an open alert on, with some words. Raises AlertClosed, NoteTooLong."""
    text = note.strip()
    if len(text) > LONGEST_NOTE:
        raise NoteTooLong(pointer="/note")
    head = lock_heads([alert.farm_id])[alert.farm_id]
    event = _event(alert, EventKind.ACKNOWLEDGED, actor, head, now)
    hashes = [event_hash(event)]
    if text:
        written = AlertNote.objects.create(
            farm_id=alert.farm_id, event_id=event.id, text=text, salt=secrets.token_bytes(16), entry=event.entry
        )
        hashes.append(alert_note_hash(written))
    _chain(head, actor, hashes, now)
    return event


@transaction.atomic
def snooze(*, alert: Alert, until: date, actor: Actor, now: datetime) -> AlertEvent:
    """Put an open alert off to a day, at most sixty days ahead. Raises AlertClosed, PutOffTooFar."""
    today = local_date(now, alert.farm.time_zone)
    first, last = today + timedelta(days=1), today + LONGEST_PUT_OFF
    if not first <= until <= last:
        raise PutOffTooFar(pointer="/until", first=first, last=last)
    head = lock_heads([alert.farm_id])[alert.farm_id]
    event = _event(alert, EventKind.SNOOZED, actor, head, now, {"until": until.isoformat()})
    _chain(head, actor, [event_hash(event)], now)
    return event


@transaction.atomic
def link_work(*, alert: Alert, work: "Work", actor: Actor, now: datetime) -> AlertEvent:
    """Note what was done about an open alert; the same work twice is one event. Raises AlertClosed, WorkBeforeAlert."""
    if work.done_on < alert.opened_week:
        raise WorkBeforeAlert(pointer="/work_id", week=alert.opened_week)
    head = lock_heads([alert.farm_id])[alert.farm_id]
    known = AlertWork.objects.filter(farm_id=alert.farm_id, alert_id=alert.id, work_id=work.id).first()
    if known is not None:
        return AlertEvent.objects.get(farm_id=alert.farm_id, id=known.event_id)
    event = _event(alert, EventKind.WORK_LINKED, actor, head, now, {"work": str(work.id)})
    link = AlertWork.objects.create(farm_id=alert.farm_id, alert_id=alert.id, work_id=work.id, event_id=event.id)
    _chain(head, actor, [event_hash(event), row_hash(link._meta.db_table, row_values(link))], now)
    return event


def event_hash(event: AlertEvent) -> bytes:
    """What the chain holds of an alert's event: the whole row."""
    return row_hash(event._meta.db_table, row_values(event))


def alert_note_hash(note: AlertNote) -> bytes:
    """What it holds of a note: not its words."""
    values = row_values(note, leave_out=("text", "salt"))
    return row_hash(AlertNote._meta.db_table, values | {"text": salted(note.text, bytes(note.salt))})


def _last_event(alert: Alert) -> AlertEvent | None:
    return AlertEvent.objects.filter(farm_id=alert.farm_id, alert_id=alert.id).order_by("at", "id").last()


def _event(
    alert: Alert, kind: EventKind, actor: Actor, head: "LedgerHead", now: datetime,
    evidence: Mapping[str, Any] | None = None,
) -> AlertEvent:  # fmt: skip
    """One more event of an open alert, whose farm's head is locked."""
    if not Alert.objects.filter(farm_id=alert.farm_id, id=alert.id, closed_at__isnull=True).exists():
        raise AlertClosed()
    week = monday_of(local_date(now, alert.farm.time_zone))
    return AlertEvent.objects.create(
        farm_id=alert.farm_id, alert_id=alert.id, kind=kind, week=week, at=now, evidence=dict(evidence or {}),
        actor_kind=actor.kind, entry=next_number(head),
    )  # fmt: skip


def _chain(head: "LedgerHead", actor: Actor, hashes: list[bytes], now: datetime) -> None:
    append(head, kind="alert_seen", actor=actor, row_hashes=hashes, now=now)
