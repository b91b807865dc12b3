"""The bell: find what is due, let it be claimed and done. The rows in PostgreSQL say what that is.

Beat rings for all; each group is then done on its own, so that none waits for another: checks and mails in queues of
their own (server/celery.py). A ring that nobody heard in time is dropped, since beat rings again.
"""

from collections.abc import Iterable
from typing import Any
from uuid import UUID

from celery import shared_task
from django.conf import settings
from django.utils import timezone

from alerts import monday
from alerts.delivery import hooks, outbox
from alerts.delivery.midweek import queue_midweek_mails
from alerts.delivery.text_messages import queue_texts, send_due_texts
from farms.clock import local_date, now
from farms.selectors import groups
from farms.services import begin_due

RINGS_FOR = 300  # seconds
# One mail may take some minutes where its server answers at the last moment each time; then it is put off, and in the
# end the process is, too. Within the lease of a mail (alerts.delivery.outbox).
MAIL_SECONDS, MOST_MAIL_SECONDS = 180, 240
# Within the lease of a text message (alerts.delivery.text_messages): its turn is twenty seconds and one last call.
TEXT_SECONDS, MOST_TEXT_SECONDS = 60, 90
# A webhook's turn is twenty seconds and its last call ten more; within the lease of a message (alerts.delivery.hooks).
HOOK_SECONDS, MOST_HOOK_SECONDS = 60, 90
HOOK_RINGS_FOR = 30  # seconds: beat rings again, and who is rung twice is called twice at once


@shared_task
def check_due_groups() -> None:
    """Ring for each group, which finds by itself what of its weeks is due and not done."""
    _ring(check_group, groups().values_list("id", flat=True))


@shared_task
def check_group(group_id: str) -> None:
    """The weekly check of one group: every due week, oldest first."""
    monday.check_group(groups().get(id=group_id), now())


@shared_task
def judge_again() -> None:
    """Ring for each group, since readings may have arrived after their week was judged."""
    _ring(judge_group_again, groups().values_list("id", flat=True))


@shared_task
def judge_group_again(group_id: str) -> None:
    """What arrived after its week was judged, and the farms that had been set aside."""
    monday.judge_again(groups().get(id=group_id), now())


@shared_task
def look_between_mondays() -> None:
    """Ring for each group, since a round may have crossed its level sharply since the last look."""
    _ring(look_at_group, groups().values_list("id", flat=True))


@shared_task
def look_at_group(group_id: str) -> None:
    """Write the mails that can't wait for Monday."""
    queue_midweek_mails(groups().get(id=group_id), now())


@shared_task
def begin_successors() -> None:
    """Ring for each group, since the day of an adviser who takes over may have come."""
    _ring(begin_successors_of_group, groups().values_list("id", flat=True))


@shared_task
def begin_successors_of_group(group_id: str) -> None:
    """Let in the advisers whose day to take over has come, where an owner agreed to that beforehand."""
    group, moment = groups().get(id=group_id), now()
    begin_due(group_id=group.id, today=local_date(moment, group.time_zone), now=moment)


@shared_task
def send_due_mail() -> None:
    """Ring for each group that has something in the outbox to send."""
    _ring(send_mail_of_group, outbox.groups_with_mail(now()))


@shared_task(soft_time_limit=MAIL_SECONDS, time_limit=MOST_MAIL_SECONDS)
def send_mail_of_group(group_id: str) -> None:
    """Send what waits in the outbox for one group's people, for some seconds."""
    outbox.send_due(now(), UUID(group_id))


@shared_task(soft_time_limit=TEXT_SECONDS, time_limit=MOST_TEXT_SECONDS)
def send_text_messages() -> None:
    """Write a message for each mail that needs a look and whose reader wants one, and send what is due."""
    if settings.TEXT_MESSAGE_URL:
        queue_texts(now())
        send_due_texts(now())


@shared_task
def ring_webhooks() -> None:
    """Write what webhooks are to tell, and ring for each that something waits for.

    By the real clock: the receivers compare the time of a message with theirs.
    """
    moment = timezone.now()
    hooks.queue_new(moment)
    for farm_id, webhook_id in hooks.webhooks_due(moment):
        send_to_webhook.apply_async((str(farm_id), str(webhook_id)), expires=HOOK_RINGS_FOR)


@shared_task(soft_time_limit=HOOK_SECONDS, time_limit=MOST_HOOK_SECONDS)
def send_to_webhook(farm_id: str, webhook_id: str) -> None:
    """Send what waits for one webhook, for some seconds."""
    hooks.send_due(UUID(farm_id), UUID(webhook_id), timezone.now())


def _ring(task: Any, group_ids: Iterable[UUID]) -> None:
    for group_id in group_ids:
        task.apply_async([str(group_id)], expires=RINGS_FOR)
