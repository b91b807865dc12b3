"""Webhooks: what happened and was not told yet becomes rows, which are the queue; each is sent, signed, and recorded.

What happened stands in the farm's chain and in its runs, where it is whatever becomes of us. One statement writes the
rows and moves the webhook's mark along the chain, whose entries have no gap and come in the order of their commits: so
nothing is left out and nothing is written twice, wherever a worker dies. A message goes out at least once; its id is
the same at each try.
"""

import json
import logging
import time
from collections import Counter
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from secrets import SystemRandom
from uuid import UUID

from django.conf import settings
from django.db import connection, transaction
from django.db.models import F, Max, Q, QuerySet
from django.db.models.functions import Coalesce, Greatest

from alerts.delivery.hook_call import NotTakenError, post
from alerts.delivery.hook_signature import signed_headers
from alerts.models import Webhook, WebhookDelivery, WebhookSecret
from alerts.models.webhook import Happening, HookState, OffBecause
from alerts.pauses import pause_after

# Longer than a call can take: looking up, connecting and answering are all within 15 seconds.
LEASE = timedelta(minutes=2)
FIRST_PAUSE, LONGEST_PAUSE, KEPT = timedelta(seconds=30), timedelta(hours=6), timedelta(days=3)
# While an address answers nothing, one of its messages is tried at a time: it costs a worker ten seconds.
LONGEST_QUIET = timedelta(hours=1)
FAILURES = 15  # in a row, and nothing got through for as long as a message is kept: then it is switched off
BATCH, SECONDS, AT_ONCE = 100, 20.0, 500
MOST_RUNG = 1000  # each half minute: more than some processes can call, and the others' turn comes with the next ring
logger = logging.getLogger(__name__)
Post = Callable[[str, bytes, dict[str, str]], int]

NEW_IN_CHAINS = """
WITH behind AS (
    SELECT w.farm_id, w.id, w.kinds, w.mark, h.number AS head
    FROM alerts_webhook w JOIN farms_ledgerhead h ON h.farm_id = w.farm_id
    WHERE w.ended_at IS NULL AND w.off_at IS NULL AND w.mark < h.number
    ORDER BY w.farm_id, w.id LIMIT %(most)s FOR NO KEY UPDATE OF w SKIP LOCKED
), found AS (
    SELECT b.farm_id, b.id, 'round.stored' AS kind, e.id AS happening, r.id AS subject, e.made_at AS at, e.number
    FROM behind b
    JOIN farms_ledgerentry e ON e.farm_id = b.farm_id AND e.number > b.mark AND e.number <= b.head
    LEFT JOIN monitoring_round r ON r.farm_id = e.farm_id AND r.entry = e.number AND e.kind = 'round'
    WHERE e.kind IN ('round', 'import') AND 'round.stored' = ANY(b.kinds)
    UNION ALL
    SELECT b.farm_id, b.id, k.kind, v.id, v.alert_id, v.at, v.entry
    FROM behind b
    JOIN alerts_alertevent v ON v.farm_id = b.farm_id AND v.entry > b.mark AND v.entry <= b.head
    JOIN (VALUES ('opened', 'alert.opened'), ('reopened', 'alert.opened'), ('closed', 'alert.closed')) k (event, kind)
      ON k.event = v.kind AND k.kind = ANY(b.kinds)
), written AS (
    INSERT INTO alerts_webhookdelivery
        (farm_id, id, webhook_id, kind, happening, subject, happened_at, queued_at, next_try_at, state, attempts,
         problem)
    SELECT farm_id, uuidv7(), id, kind, happening, subject, at, %(now)s, %(now)s, 'waiting', 0, '' FROM found
    ORDER BY farm_id, id, number, happening  -- their ids, by which they are sent, follow the chain
    ON CONFLICT DO NOTHING
)
UPDATE alerts_webhook w SET mark = b.head FROM behind b WHERE w.farm_id = b.farm_id AND w.id = b.id
"""
# A week is told once, when the group's run of it is done and the farm was judged; judged again later, it isn't again.
NEW_WEEKS = """
INSERT INTO alerts_webhookdelivery
    (farm_id, id, webhook_id, kind, happening, week, happened_at, queued_at, next_try_at, state, attempts, problem)
SELECT w.farm_id, uuidv7(), w.id, 'week.judged', r.id, r.week, r.finished_at, %(now)s, %(now)s, 'waiting', 0, ''
FROM alerts_webhook w
JOIN farms_farm f ON f.id = w.farm_id
JOIN alerts_checkrun r ON r.group_id = f.group_id AND r.state = 'done' AND r.finished_at > w.since
    AND r.finished_at > (SELECT max(finished_at) FROM alerts_checkrun) - interval '14 days'
WHERE w.ended_at IS NULL AND w.off_at IS NULL AND 'week.judged' = ANY(w.kinds)
  AND EXISTS (SELECT 1 FROM alerts_assessment a WHERE a.farm_id = w.farm_id AND a.week = r.week)
  AND NOT EXISTS (SELECT 1 FROM alerts_webhookdelivery d
                  WHERE d.farm_id = w.farm_id AND d.webhook_id = w.id AND d.happening = r.id)
ON CONFLICT DO NOTHING
"""
# What waited when a webhook went off and is on again. By both moments, since the first is of our clock and the others
# are of the farm's, which stands still in the demo.
FROM_BEFORE = """
WITH again AS MATERIALIZED (
    SELECT farm_id, id, since FROM alerts_webhook WHERE since > made_at AND ended_at IS NULL AND off_at IS NULL
), old AS (
    SELECT d.farm_id, d.id FROM again a
    JOIN alerts_webhookdelivery d ON d.farm_id = a.farm_id AND d.webhook_id = a.id
    WHERE d.state IN ('waiting', 'sending') AND (d.lease_until IS NULL OR d.lease_until <= %(now)s)
      AND d.queued_at < a.since AND d.happened_at < a.since
    FOR UPDATE OF d SKIP LOCKED
)
UPDATE alerts_webhookdelivery d SET state = 'given_up', ended_at = %(now)s, lease_until = NULL
FROM old WHERE d.farm_id = old.farm_id AND d.id = old.id
"""


def queue_new(now: datetime) -> None:
    """Write a row for all that happened since the marks, on every farm; give up what is from before a switch-on."""
    with connection.cursor() as cursor:
        cursor.execute(FROM_BEFORE, {"now": now})
        cursor.execute(NEW_IN_CHAINS, {"now": now, "most": AT_ONCE})
        while cursor.rowcount == AT_ONCE:
            cursor.execute(NEW_IN_CHAINS, {"now": now, "most": AT_ONCE})
        cursor.execute(NEW_WEEKS, {"now": now})


def webhooks_due(now: datetime) -> list[tuple[UUID, UUID]]:
    """Farm and id of the webhooks that something waits for and that may be called now, as many as a ring can take.

    First who was never called, then who was called or left in quiet longest ago: a ring that nobody heard in time is
    lost, and in a fixed order some slow ones would be called for ever and those behind them never.
    """
    quiet = Q(webhook__quiet_until__isnull=True) | Q(webhook__quiet_until__lte=now)
    on = Q(webhook__ended_at__isnull=True, webhook__off_at__isnull=True)
    rows = WebhookDelivery.objects.filter(_is_due(now), quiet, on).order_by()
    turns = rows.values_list("farm_id", "webhook_id").annotate(
        last=Max(Greatest("webhook__sent_at", "webhook__quiet_until"))
    )
    ordered = turns.order_by(F("last").asc(nulls_first=True), "farm_id", "webhook_id")
    return [(farm_id, webhook_id) for farm_id, webhook_id, _last in ordered[:MOST_RUNG]]


def send_due(
    farm_id: UUID, webhook_id: UUID, now: datetime, *, call: Post = post, seconds: float = SECONDS
) -> Counter[str]:
    """Send what waits for one webhook, oldest first, for some seconds or until something fails; how it ended."""
    done: Counter[str] = Counter()
    ends = time.monotonic() + seconds
    due = WebhookDelivery.objects.filter(_is_due(now), farm_id=farm_id, webhook_id=webhook_id)
    for delivery in due.order_by("next_try_at", "id")[:BATCH]:
        # Asked before each: switched off, it gets nothing more from that moment on; on again, nothing from before.
        webhook = _may_be_called(farm_id, webhook_id, now)
        if webhook is None or _is_from_before(delivery, webhook) or time.monotonic() >= ends:
            break
        if claim(delivery, now):
            state = _send(webhook, delivery, now, call)
            done[state] += 1
            logger.info("a webhook's message is %s", state)
            if state != HookState.TAKEN:
                break
    return done


def claim(delivery: WebhookDelivery, now: datetime) -> bool:
    """Take a message for sending; False where another worker was faster."""
    claimed = _row(delivery).update(state=HookState.SENDING, lease_until=now + LEASE, attempts=F("attempts") + 1)
    delivery.attempts += claimed
    return bool(claimed)


def body_of(delivery: WebhookDelivery) -> bytes:
    """What is sent: ids, a kind, a moment, and where to read more with a key. No count and no name."""
    data = {"farm_id": str(delivery.farm_id)}
    if delivery.subject is not None:
        data["id"] = str(delivery.subject)
    if delivery.week is not None:
        data["week"] = delivery.week.isoformat()
    data["url"] = f"{settings.SITE_URL}/api/v1/farms/{delivery.farm_id}/{where_to_read(delivery)}"
    at = delivery.happened_at.astimezone(UTC).isoformat(timespec="seconds").replace("+00:00", "Z")
    return json.dumps({"type": delivery.kind, "timestamp": at, "data": data}, separators=(",", ":")).encode()


def where_to_read(delivery: WebhookDelivery) -> str:
    """The address under the farm's, in the API."""
    if delivery.kind == Happening.WEEK_JUDGED:
        return "assessments"
    noun = "rounds" if delivery.kind == Happening.ROUND_STORED else "alerts"
    return noun if delivery.subject is None else f"{noun}/{delivery.subject}"


def message_id(delivery: WebhookDelivery) -> str:
    return f"msg_{delivery.id.hex}"


def _send(webhook: Webhook, delivery: WebhookDelivery, now: datetime, call: Post) -> str:
    key = WebhookSecret.objects.get(farm_id=webhook.farm_id, webhook_id=webhook.id).key
    body = body_of(delivery)
    headers = signed_headers(bytes(key), message_id(delivery), now, body)
    headers |= {"Content-Type": "application/json", "User-Agent": f"Flyround/{settings.CODE_VERSION}"}
    try:
        status = call(webhook.address, body, headers)
    except NotTakenError as failure:
        return _failed(webhook, delivery, now, failure)
    return _taken(webhook, delivery, now, status)


@transaction.atomic
def _taken(webhook: Webhook, delivery: WebhookDelivery, now: datetime, status: int) -> str:
    _row(delivery).update(state=HookState.TAKEN, lease_until=None, ended_at=now, problem="", status=status)
    _hook(webhook).update(
        failures=0, failing_since=None, quiet_until=None, problem="", status=status, sent_at=now
    )  # fmt: skip
    return HookState.TAKEN.value


@transaction.atomic
def _failed(webhook: Webhook, delivery: WebhookDelivery, now: datetime, failure: NotTakenError) -> str:
    jitter = SystemRandom().uniform(0.8, 1.2)
    given_up = failure.gone or now - delivery.queued_at >= KEPT
    state = HookState.GIVEN_UP if given_up else HookState.WAITING
    pause = pause_after(delivery.attempts, FIRST_PAUSE, LONGEST_PAUSE) * jitter
    _row(delivery).update(
        state=state, lease_until=None, next_try_at=now + pause, ended_at=now if given_up else None,
        problem=failure.problem, status=failure.status,
    )  # fmt: skip
    quiet = pause_after(webhook.failures + 1, FIRST_PAUSE, LONGEST_QUIET) * jitter
    _hook(webhook).update(
        failures=F("failures") + 1, failing_since=Coalesce("failing_since", now), problem=failure.problem,
        status=failure.status, quiet_until=now + quiet,
    )  # fmt: skip
    _switch_off(webhook, now, failure)
    return state.value


def _switch_off(webhook: Webhook, now: datetime, failure: NotTakenError) -> None:
    """Off at once where it wants nothing more (410, as the specification says); else after days without a success."""
    rows = _hook(webhook).filter(off_at__isnull=True)
    if failure.gone:
        rows.update(off_at=now, off_because=OffBecause.GONE)
    else:
        failing = rows.filter(failures__gte=FAILURES, failing_since__lte=now - KEPT)
        failing.update(off_at=now, off_because=OffBecause.FAILING)


def _is_due(now: datetime) -> Q:
    return Q(state=HookState.WAITING, next_try_at__lte=now) | Q(state=HookState.SENDING, lease_until__lte=now)


def _is_from_before(delivery: WebhookDelivery, webhook: Webhook) -> bool:
    return delivery.queued_at < webhook.since and delivery.happened_at < webhook.since


def _may_be_called(farm_id: UUID, webhook_id: UUID, now: datetime) -> Webhook | None:
    on = Webhook.objects.filter(farm_id=farm_id, id=webhook_id, ended_at__isnull=True, off_at__isnull=True)
    return on.exclude(quiet_until__gt=now).first()


def _row(delivery: WebhookDelivery) -> QuerySet[WebhookDelivery]:
    """The stored row while it is as we know it: after another worker's claim it has more attempts."""
    rows = WebhookDelivery.objects.filter(farm_id=delivery.farm_id, id=delivery.id, attempts=delivery.attempts)
    return rows.filter(state__in=(HookState.WAITING, HookState.SENDING))


def _hook(webhook: Webhook) -> QuerySet[Webhook]:
    return Webhook.objects.filter(farm_id=webhook.farm_id, id=webhook.id)
