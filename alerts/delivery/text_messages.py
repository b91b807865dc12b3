"""Text messages: who is told that a mail has something to look at, by day, once an occasion and person.

What is to be told is found anew at each ring from the mails that were written, so nobody keeps a list. A message goes
out at least once; its id is the same at each try, by which the service that sends it can drop a second one. It tells
nothing that the mail doesn't, so one that could not leave within a day is dropped.
"""

import logging
import time
from collections import Counter
from collections.abc import Callable
from datetime import datetime, timedelta
from datetime import time as clock_time
from uuid import UUID
from zoneinfo import ZoneInfo

from django.db.models import Exists, F, OuterRef, QuerySet

from alerts.delivery.outbox import is_due
from alerts.delivery.text_call import TextNotTakenError, post, why_not
from alerts.delivery.text_sentences import text_of
from alerts.models import Digest, TextMessage, TextNumber
from alerts.models.text_message import TextState
from alerts.pauses import pause_after
from alerts.text_codes import CODE, VALID_FOR, code_occasion
from farms.selectors import owners_of_farms

NEWS = timedelta(days=1)
# Nobody is woken (common practice, no source): by the clock of the farm.
EARLIEST, LATEST = clock_time(8), clock_time(20)
LEASE = timedelta(minutes=2)
FIRST_PAUSE, LONGEST_PAUSE = timedelta(seconds=30), timedelta(hours=1)
BATCH, SECONDS = 100, 20.0
logger = logging.getLogger(__name__)
Post = Callable[..., None]


def queue_texts(now: datetime) -> int:
    """Write a message for each mail of the last day that needs a look and whose reader has a number. How many."""
    # An owner of two farms is told once.
    made = {(reader, occasion): time_zone for reader, occasion, time_zone in _to_tell(now)}
    messages = [
        TextMessage(
            recipient_id=reader, occasion=occasion, time_zone=time_zone, queued_at=now,
            next_try_at=by_day(now, time_zone),
        )
        for (reader, occasion), time_zone in made.items()
    ]  # fmt: skip
    return len(TextMessage.objects.bulk_create(messages, ignore_conflicts=True))


def due(now: datetime) -> "QuerySet[TextMessage]":
    """What may be sent now: waiting and its time has come, or left by a worker that died."""
    return TextMessage.objects.filter(is_due(now)).select_related("recipient").order_by("next_try_at", "id")


def send_due_texts(now: datetime, *, call: Post = post, seconds: float = SECONDS) -> Counter[str]:
    """Send what is due for some seconds, or until the service does not answer; how many ended in which state."""
    done: Counter[str] = Counter()
    if (wrong := why_not()) is not None:
        logger.error("No text message is sent: %s", wrong)
        return done
    ends = time.monotonic() + seconds
    for message in due(now)[:BATCH]:
        if time.monotonic() >= ends:
            break
        if claim(message, now):
            state = _send(message, now, call)
            done[state] += 1
            logger.info("a text message is %s", state)
            if state == TextState.QUEUED:
                break
    return done


def claim(message: TextMessage, now: datetime) -> bool:
    """Take a message for sending; False where another worker was faster."""
    claimed = _row(message).update(state=TextState.SENDING, lease_until=now + LEASE, attempts=F("attempts") + 1)
    message.attempts += claimed
    return bool(claimed)


def by_day(moment: datetime, time_zone: str) -> datetime:
    """This moment, or the next eight o'clock in the morning where it lies in a farm's night."""
    local = moment.astimezone(ZoneInfo(time_zone))
    if EARLIEST <= local.time() < LATEST:
        return moment
    day = local.date() + (timedelta(days=1) if local.time() >= LATEST else timedelta())
    return datetime.combine(day, EARLIEST, ZoneInfo(time_zone))


def _to_tell(now: datetime) -> "QuerySet[Digest, tuple[UUID, str, str]]":
    """Reader, occasion and time zone of the mails that need a look and that no message was written for."""
    own = {"recipient_id": OuterRef("recipient_id")}
    reached = TextNumber.objects.filter(
        user_id=OuterRef("recipient_id"), confirmed_at__lte=OuterRef("queued_at"), stopped_at__isnull=True
    )
    told = TextMessage.objects.filter(occasion=OuterRef("occasion"), **own)
    mails = Digest.objects.filter(Exists(reached), ~Exists(told), needs_a_look=True, queued_at__gt=now - NEWS)
    return mails.order_by("queued_at", "id").values_list("recipient_id", "occasion", "farm__time_zone")


def _send(message: TextMessage, now: datetime, call: Post) -> str:
    number = TextNumber.objects.filter(user_id=message.recipient_id, stopped_at__isnull=True).first()
    if number is None or not _is_wanted(message, number):
        return _record(message, TextState.UNWANTED)
    if now - message.queued_at > (VALID_FOR if message.occasion.startswith(CODE) else NEWS):
        return _record(message, TextState.LATE)
    try:
        call(f"msg_{message.id.hex}", now, number=number.number, text=text_of(message, number))
    except TextNotTakenError as failure:
        return _failed(message, number, failure, now)
    return _record(message, TextState.SENT, sent_at=now, error="")


def _is_wanted(message: TextMessage, number: TextNumber) -> bool:
    """A code is for the number as it was typed last; a week for whoever still owns a farm that has something."""
    if message.occasion.startswith(CODE):
        return number.confirmed_at is None and message.occasion == code_occasion(number)
    mails = Digest.objects.filter(recipient_id=message.recipient_id, occasion=message.occasion, needs_a_look=True)
    owners = owners_of_farms(list(mails.values_list("farm_id", flat=True)))
    return number.confirmed_at is not None and owners.filter(user_id=message.recipient_id).exists()


def _failed(message: TextMessage, number: TextNumber, failure: TextNotTakenError, now: datetime) -> str:
    if failure.stops:
        TextNumber.objects.filter(id=number.id).update(stopped_at=now)
    if failure.for_good:
        return _record(message, TextState.REFUSED, error=str(failure))
    again = now + pause_after(message.attempts, FIRST_PAUSE, LONGEST_PAUSE)
    if message.time_zone:
        again = by_day(again, message.time_zone)
    return _record(message, TextState.QUEUED, next_try_at=again, error=str(failure))


def _record(message: TextMessage, state: TextState, **columns: object) -> str:
    _row(message).update(state=state, lease_until=None, **columns)
    return state.value


def _row(message: TextMessage) -> "QuerySet[TextMessage]":
    """The stored row while it is as we know it: after another worker's claim it has more attempts."""
    waits = [TextState.QUEUED, TextState.SENDING]
    return TextMessage.objects.filter(id=message.id, attempts=message.attempts, state__in=waits)
