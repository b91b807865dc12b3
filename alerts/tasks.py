"""The bell: find what is due, let it be claimed and done. The rows in PostgreSQL say what that is."""

from celery import shared_task

from alerts import monday
from alerts.checks.calendar import due_weeks
from alerts.delivery import outbox
from farms.clock import now
from farms.selectors import groups


@shared_task
def check_due_groups() -> None:
    """Ring for each group that has a week to judge."""
    moment = now()
    for group in groups():
        if due_weeks(group, moment):
            check_group.delay(str(group.id))


@shared_task
def check_group(group_id: str) -> None:
    """The weekly check of one group: every due week, oldest first."""
    monday.check_group(groups().get(id=group_id), now())


@shared_task
def judge_again() -> None:
    """What arrived after its week was judged, and the farms that had been set aside."""
    for group in groups():
        monday.judge_again(group, now())


@shared_task
def send_due_mail() -> None:
    """Send what waits in the outbox."""
    outbox.send_due(now())
