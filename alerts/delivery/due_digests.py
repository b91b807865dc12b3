"""Which weekly mails are due and not written yet: nobody keeps a list, so a crash or an outage loses none."""

from collections.abc import Callable
from datetime import date, datetime, time, timedelta
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from django.db.models import Exists, OuterRef, Q

from alerts.checks.calendar import DUE_TIME, WEEK, newest_due, received_from
from alerts.delivery.digest import TOGETHER, queue_digests, without_mail
from alerts.models import Alert, Assessment, CheckFailure, CheckRun
from alerts.models.check import RunState
from alerts.models.mail_day import MONDAY
from alerts.selectors.mail_days import mail_days_of_farms
from farms.selectors import farms_of_group, owners_to_write_to

if TYPE_CHECKING:
    from farms.models import Farm, Group


def queue_due_digests(group: "Group", *, now: datetime) -> int:
    """Write what is due of the group's newest week, once it is judged. Returns how many mails were written."""
    week = newest_due(group.time_zone, now)
    run = CheckRun.objects.filter(group_id=group.id, week=week, state=RunState.DONE).select_related("group").first()
    return write_due(run, now) if run is not None else 0


def write_due(run: CheckRun, now: datetime, keep: Callable[[], None] = lambda: None) -> int:
    """Write the mails of a judged week whose farms' day has come, to each owner who has none yet.

    `keep` is called before each part of the work: it keeps a claimed run.
    """
    farms, written = due_farms(run, now), 0
    # A round of a later week was never in the check, whenever it was received.
    later = received_from(run.week + WEEK, run.group.time_zone)
    for start in range(0, len(farms), TOGETHER):
        keep()
        part = farms[start : start + TOGETHER]
        written += queue_digests(run.group, part, week=run.week, now=now, later_since=later)
    return written


def due_farms(run: CheckRun, now: datetime) -> "list[Farm]":
    """The farms that were judged in a run, whose day has come, and of whose owners one has no mail about it yet."""
    # Asked at each tick, and mostly of nobody: the database leaves out the farms whose mails are written.
    waiting = Exists(without_mail(owners_to_write_to("id"), run.week))
    farms = list(farms_of_group(run.group_id).filter(waiting, has_news(run.week)).order_by("id"))
    days = mail_days_of_farms([farm.id for farm in farms])
    return [farm for farm in farms if goes_out_at(farm.time_zone, run.week, days.get(farm.id, MONDAY)) <= now]


def goes_out_at(time_zone: str, week: date, weekday: int) -> datetime:
    """05:00 of the farm's own clock on its day of the week after the one that was judged."""
    day = week + WEEK + timedelta(days=weekday - MONDAY)
    return datetime.combine(day, time(DUE_TIME.hour), ZoneInfo(time_zone))


def has_news(week: date) -> Q:
    """A condition on farms: a result, or an alert that is open or was closed by this week, and not set aside."""
    own = {"farm_id": OuterRef("id")}
    result = Exists(Assessment.objects.filter(week=week, **own))
    alert = Exists(Alert.objects.filter(closed_at__isnull=True, **own))
    closed = Exists(Alert.objects.filter(closed_week=week, **own))
    failed = Exists(CheckFailure.objects.filter(week=week, solved_at__isnull=True, **own))
    return (Q(result) | Q(alert) | Q(closed)) & ~Q(failed)
