"""The outbox: rows that wait, claimed by compare-and-set with a lease, sent, and recorded.

A mail goes out at least once; that a row is unique for its farm or group, recipient and occasion makes it once in
practice. It goes out twice only where a worker dies after the server took it and before that is recorded; both have one
Message-ID. A mail that the other side refuses for good is not tried again, but for two days where it may be our own
server that refuses everybody's; every other failure is, after a pause that doubles.

Each group's mails are sent on their own, by one worker at a time and for some seconds at a time: however slow the
server of some recipients is, other groups' mails have their turn.
"""

import logging
import time
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID

from django.core.mail import get_connection
from django.core.mail.backends.base import BaseEmailBackend
from django.db import InterfaceError, OperationalError, transaction
from django.db import connection as database
from django.db.models import F, Min, Q, QuerySet

from alerts.delivery.consent import why_withheld
from alerts.delivery.message import message_of
from alerts.delivery.parts import claim_together
from alerts.delivery.refusals import code_of, is_about_us, is_permanent, is_unreachable, refusal_of, told_of
from alerts.delivery.wanted import is_wanted
from alerts.log_context import sending
from alerts.models import Digest
from alerts.models.outbox import TABLES, DeliveryState, Mail, Refusal
from alerts.models.stopped_address import StopReason
from alerts.pauses import pause_after
from alerts.selectors.stopped_addresses import stop_of
from alerts.services.stopped_address import Failure, stop_address
from farms.lookups import array_of
from farms.selectors import farms_of_groups

# Longer than one mail can take: seven answers of a server that needs almost settings.EMAIL_TIMEOUT for each.
LEASE = timedelta(minutes=5)
# A server that was down for hours finds every mail due within this time of its return.
FIRST_PAUSE, LONGEST_PAUSE = timedelta(minutes=5), timedelta(minutes=20)
# What a mailbox has put off for a day is tried less often (RFC 5321, 4.5.4.1: half an hour or more, for days).
PATIENT_TRIES, RARE_PAUSE = 75, timedelta(hours=6)
# A refusal that may be our own server's, of everybody: time to be told (MailsWait) and to set it right, few tries.
MENDED_WITHIN = timedelta(days=2)
BATCH = 100
ON_ONE_CONNECTION = 20  # mails; servers end one that goes on for long (common practice, no source)
SECONDS = 30.0  # that one ring goes on beginning new mails
WAITS_FOR_DATABASE = (1, 2, 4, 8, 16)  # seconds between tries to record a mail that is sent
logger = logging.getLogger(__name__)


def queue(mails: Iterable[Mail]) -> int:
    """Put mails into the outbox; one for the same recipient and occasion that is there already stays as it is.

    Returns how many were written: of two workers at once each is told its own.
    """
    mails = list(mails)
    return sum(_write_new(model, [mail for mail in mails if isinstance(mail, model)]) for model in TABLES)


def _write_new(model: type[Mail], mails: list[Any]) -> int:
    if not mails:
        return 0
    model._default_manager.bulk_create(mails, ignore_conflicts=True)
    # PostgreSQL tells of no row that it left out; ours are those with our ids.
    written: QuerySet[Any] = model._default_manager.filter(id__any_of=array_of(mail.id for mail in mails))
    if model is Digest:
        written = written.filter(farm_id__any_of=array_of(mail.farm_id for mail in mails))
    return written.count()


def groups_with_mail(now: datetime) -> list[UUID]:
    """The groups that have something to send now, whose mail has waited longest for its turn first."""
    oldest: dict[UUID, datetime] = {}
    for model in TABLES:
        group = "farm__group_id" if model is Digest else "group_id"
        rows: QuerySet[Any] = model._default_manager.filter(is_due(now)).order_by()
        for group_id, since in rows.values_list(group).annotate(Min("next_try_at")):
            oldest[group_id] = min(since, oldest.get(group_id, since))
    return sorted(oldest, key=lambda group_id: (oldest[group_id], group_id))


def due(now: datetime, group_id: UUID | None = None) -> list[Mail]:
    """What may be sent now, of one group or of all: waiting and its time has come, or left by a worker that died."""
    found: list[Mail] = []
    for model in TABLES:
        rows: QuerySet[Any] = _of_group(model._default_manager.filter(is_due(now)), group_id)
        found += rows.select_related("recipient").order_by("next_try_at", "id")[:BATCH]
    return found


def is_due(now: datetime) -> Q:
    """Waiting and its time has come, or claimed by somebody whose lease ran out."""
    return Q(state=DeliveryState.QUEUED, next_try_at__lte=now) | Q(state=DeliveryState.SENDING, lease_until__lte=now)


def claim(mail: Mail, now: datetime) -> bool:
    """Take a mail for sending; False where another worker was faster."""
    claimed = _row(mail).update(state=DeliveryState.SENDING, lease_until=now + LEASE, attempts=F("attempts") + 1)
    mail.attempts += claimed
    return bool(claimed)


def claim_whole(mail: Mail, now: datetime) -> Sequence[Mail]:
    """Take a mail, and with a digest all others that go to the same person in one message; none where it is taken."""
    if isinstance(mail, Digest):
        return claim_together(mail, is_due(now), lambda part: claim(part, now))
    return [mail] if claim(mail, now) else []


@transaction.atomic
def _claim_in_turn(mail: Mail, group_id: UUID | None, now: datetime) -> Sequence[Mail] | None:
    """Claim a mail while nobody else has one of its group in hand; None where somebody has, or is just taking one."""
    if group_id is not None and not _is_free(group_id, now):
        return None
    return claim_whole(mail, now)


def send_due(now: datetime, group_id: UUID | None = None, *, seconds: float = SECONDS) -> Counter[str]:
    """Send what is due, of one group or of all, and record it. Returns how many messages ended in which state.

    Begins no more mails after some seconds, and none where somebody is sending this group's: the next ring goes on.
    """
    done: Counter[str] = Counter()
    ends, connection = time.monotonic() + seconds, get_connection()
    try:
        for mail in _waiting(now, group_id, ends):
            parts = _claim_in_turn(mail, group_id, now)
            if parts is None:
                break
            if parts:
                with sending(mail):
                    state, go_on = _send(parts, connection, now)
                    logger.info("a mail is %s", state)
                done[state] += 1
                if not go_on:
                    break
                if done.total() % ON_ONE_CONNECTION == 0:
                    connection.close()
    finally:
        connection.close()
    if group_id is not None and time.monotonic() >= ends:
        _stand_behind(group_id, now)
    return done


def _stand_behind(group_id: UUID, now: datetime) -> None:
    """What a turn left over waits for the next one from now on, behind the groups that had none meanwhile.

    A ring that nobody heard in time is lost: the mails of some slow groups would else be the oldest for ever.
    """
    farms = farms_of_groups([group_id]).values("id")
    for model in TABLES:
        own: dict[str, Any] = {"farm_id__in": farms} if model is Digest else {"group_id": group_id}
        left: QuerySet[Any] = model._default_manager.filter(state=DeliveryState.QUEUED, next_try_at__lt=now, **own)
        left.update(next_try_at=now)


def _waiting(now: datetime, group_id: UUID | None, ends: float) -> Iterator[Mail]:
    """What is due, some at a time, until the seconds are over."""
    while some := due(now, group_id):
        for mail in some:
            if time.monotonic() >= ends:
                return
            yield mail


def _send(parts: Sequence[Mail], connection: BaseEmailBackend, now: datetime) -> tuple[str, bool]:
    """Send what was claimed as one message; its new state, and whether the server can take another."""
    ended = {part.id: _left_out(part) for part in parts}
    kept = [part for part in parts if ended[part.id] is None]
    if not kept:
        return str(ended[parts[0].id]), True
    try:
        # Without it each mail would have a connection of its own, with its greeting and its sign-in.
        connection.open()
        connection.send_messages([message_of(kept, now=now)])
    except Exception as error:  # noqa: BLE001  one mail that can't be sent, whatever the reason, never stops the others
        connection.close()
        if is_permanent(error) and not _may_be_mended(kept, error, now):
            return _refuse(kept, error, now), True
        return _postpone(kept, error, now), not is_unreachable(error)
    return _record(kept, DeliveryState.SENT, sent_at=now), True


def _left_out(part: Mail) -> str | None:
    """Record of a part that may not go out, or that its reader doesn't want, what becomes of it; None of the others."""
    withheld = why_withheld(part)
    if withheld is None and not is_wanted(part):
        return _record([part], DeliveryState.UNWANTED)
    if withheld is None and stop_of(part.recipient):
        withheld = Refusal.STOPPED
    if withheld is None:
        return None
    return _record([part], DeliveryState.REFUSED, reason=withheld, error=str(withheld.label))


def _may_be_mended(parts: Sequence[Mail], error: Exception, now: datetime) -> bool:
    """Whether what was refused may go out once somebody has set our server right."""
    return is_about_us(error) and now - min(part.queued_at for part in parts) < MENDED_WITHIN


def _postpone(parts: Sequence[Mail], error: Exception, now: datetime) -> str:
    """Try again after the pause of the part that was tried most often, so that they stay together."""
    attempts = max(part.attempts for part in parts)
    patient = attempts > PATIENT_TRIES and not is_unreachable(error)
    longest = RARE_PAUSE if patient or is_about_us(error) else LONGEST_PAUSE
    pause = pause_after(attempts, FIRST_PAUSE, longest)
    return _record(parts, DeliveryState.QUEUED, next_try_at=now + pause, error=told_of(error))


def _refuse(parts: Sequence[Mail], error: Exception, now: datetime) -> str:
    """Refused for good; where it was the address that was refused, it gets no more."""
    reason = refusal_of(error)
    if reason == Refusal.ADDRESS:
        failure = Failure(StopReason.REFUSED, code_of(error), now)
        stop_address(user=parts[0].recipient, failure=failure, now=now)
    return _record(parts, DeliveryState.REFUSED, reason=reason, error=told_of(error))


def _record(parts: Sequence[Mail], state: DeliveryState, **columns: Any) -> str:
    """Write what became of a message on each of its rows; where PostgreSQL is just restarted, as soon as it is back."""
    for pause in WAITS_FOR_DATABASE:
        try:
            _write(parts, state, columns)
        except (OperationalError, InterfaceError):
            database.close()
            time.sleep(pause)
        else:
            return state.value
    _write(parts, state, columns)
    return state.value


@transaction.atomic
def _write(parts: Sequence[Mail], state: DeliveryState, columns: dict[str, Any]) -> None:
    for part in parts:
        _row(part).update(state=state, lease_until=None, **columns)


def _of_group(rows: QuerySet[Any], group_id: UUID | None) -> QuerySet[Any]:
    if group_id is None:
        return rows
    return rows.filter(**{"farm__group_id" if rows.model is Digest else "group_id": group_id})


def _is_free(group_id: UUID, now: datetime) -> bool:
    """Whether no worker has one of the group's mails in hand; kept so until the transaction ends.

    Without the lock two workers who heard two rings at once would both find the group free, and where its server is
    slow no worker would be left for the other groups.
    """
    with database.cursor() as cursor:
        cursor.execute("SELECT pg_try_advisory_xact_lock(hashtext('outbox'), hashtext(%s))", [str(group_id)])
        if not cursor.fetchone()[0]:
            return False
    sending = {"state": DeliveryState.SENDING, "lease_until__gt": now}
    return not any(_of_group(model._default_manager.filter(**sending), group_id).exists() for model in TABLES)


def _row(mail: Mail) -> QuerySet[Any]:
    """The stored row while it is as we know it: after another worker's claim it has more attempts."""
    rows: QuerySet[Any] = type(mail).objects.filter(id=mail.id, attempts=mail.attempts)
    rows = rows.exclude(state__in=[DeliveryState.SENT, DeliveryState.REFUSED, DeliveryState.UNWANTED])
    return rows.filter(farm_id=mail.farm_id) if isinstance(mail, Digest) else rows
