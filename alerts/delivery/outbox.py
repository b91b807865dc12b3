"""The outbox: rows that wait, claimed by compare-and-set with a lease, sent, and recorded.

A mail goes out at least once; that a row is unique for its farm or group, recipient and occasion makes it once in
practice. A mail that the other side refuses for good is not tried again; every other failure is, after a pause that
doubles.
"""

import smtplib
from collections import Counter
from collections.abc import Iterable
from datetime import datetime, timedelta
from typing import Any

from anymail.exceptions import AnymailInvalidAddress, AnymailRecipientsRefused
from django.core.mail import get_connection
from django.core.mail.backends.base import BaseEmailBackend
from django.db.models import F, Q, QuerySet

from alerts.delivery.consent import why_withheld
from alerts.delivery.message import message_for
from alerts.models import Digest, MondayList
from alerts.models.outbox import DeliveryState

Mail = Digest | MondayList
LEASE = timedelta(minutes=10)
FIRST_PAUSE, LONGEST_PAUSE = timedelta(minutes=5), timedelta(hours=6)
BATCH = 500


def queue(mails: Iterable[Mail]) -> int:
    """Put mails into the outbox; one for the same recipient and occasion that is there already stays as it is."""
    mails = list(mails)
    for model in (Digest, MondayList):
        own: list[Any] = [mail for mail in mails if isinstance(mail, model)]
        model.objects.bulk_create(own, ignore_conflicts=True)
    return len(mails)


def due(now: datetime) -> list[Mail]:
    """What may be sent now: waiting and its time has come, or claimed by somebody whose lease ran out."""
    waiting = Q(state=DeliveryState.QUEUED, next_try_at__lte=now)
    left = Q(state=DeliveryState.SENDING, lease_until__lte=now)
    found: list[Mail] = []
    for model in (Digest, MondayList):
        rows: QuerySet[Any] = model.objects.filter(waiting | left).select_related("recipient")
        found += rows.order_by("next_try_at", "id")[:BATCH]
    return found


def claim(mail: Mail, now: datetime) -> bool:
    """Take a mail for sending; False where another worker was faster."""
    claimed = _row(mail).update(state=DeliveryState.SENDING, lease_until=now + LEASE, attempts=F("attempts") + 1)
    mail.attempts += claimed
    return bool(claimed)


def send_due(now: datetime) -> Counter[str]:
    """Send what is due and record it. Returns how many mails ended in which state."""
    done: Counter[str] = Counter()
    connection = get_connection()
    try:
        for mail in due(now):
            if claim(mail, now):
                state, go_on = _send(mail, connection, now)
                done[state] += 1
                if not go_on:
                    break
    finally:
        connection.close()
    return done


def _send(mail: Mail, connection: BaseEmailBackend, now: datetime) -> tuple[str, bool]:
    """Send one claimed mail; its new state, and whether the server can take another."""
    withheld = why_withheld(mail)
    if withheld:
        return _record(mail, DeliveryState.REFUSED, error=withheld), True
    try:
        connection.send_messages([message_for(mail, now=now)])
    except Exception as error:  # noqa: BLE001  one mail that can't be sent, whatever the reason, never stops the others
        connection.close()
        words = f"{type(error).__name__}: {error}"
        if is_permanent(error):
            return _record(mail, DeliveryState.REFUSED, error=words), True
        return _postpone(mail, words, now), not is_unreachable(error)
    return _record(mail, DeliveryState.SENT, sent_at=now), True


def is_permanent(error: Exception) -> bool:
    """Whether the other side refused this mail for good (SMTP 5xx to recipient or content).

    A refused sender or sign-in is a fault of our settings: it would lose everybody's mail, so it is tried again.
    """
    if isinstance(error, smtplib.SMTPRecipientsRefused):
        return all(code >= 500 for code, _ in error.recipients.values())
    if isinstance(error, smtplib.SMTPDataError):
        return error.smtp_code >= 500
    return isinstance(error, AnymailRecipientsRefused | AnymailInvalidAddress)


def is_unreachable(error: Exception) -> bool:
    """Whether the mail server itself couldn't be used, so that the rest of the batch waits too."""
    of_server = (smtplib.SMTPConnectError, smtplib.SMTPServerDisconnected, smtplib.SMTPHeloError)
    if isinstance(error, (*of_server, smtplib.SMTPAuthenticationError, smtplib.SMTPNotSupportedError)):
        return True
    return isinstance(error, OSError) and not isinstance(error, smtplib.SMTPException)


def _postpone(mail: Mail, error: str, now: datetime) -> str:
    pause = min(FIRST_PAUSE * 2 ** min(mail.attempts - 1, 10), LONGEST_PAUSE)
    return _record(mail, DeliveryState.QUEUED, next_try_at=now + pause, error=error)


def _record(mail: Mail, state: DeliveryState, **columns: Any) -> str:
    _row(mail).update(state=state, lease_until=None, **columns)
    return state.value


def _row(mail: Mail) -> QuerySet[Any]:
    """The stored row while it is as we know it: after another worker's claim it has more attempts."""
    rows: QuerySet[Any] = type(mail).objects.filter(id=mail.id, attempts=mail.attempts)
    rows = rows.exclude(state__in=[DeliveryState.SENT, DeliveryState.REFUSED])
    return rows.filter(farm_id=mail.farm_id) if isinstance(mail, Digest) else rows
