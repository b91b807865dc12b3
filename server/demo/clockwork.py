"""The demo's moved clock, and waiting for what the worker makes of it."""

import time
from collections.abc import Callable
from datetime import date, datetime, timedelta
from datetime import time as time_of_day
from pathlib import Path
from zoneinfo import ZoneInfo

from django.db.models import Q

from alerts.models import CheckRun, Digest, MondayList, Running
from alerts.models.check import RunState
from alerts.models.outbox import DeliveryState
from farms.models import DailyHead
from server.celery import app
from server.demo import scenario
from server.demo.processes import PATIENCE, DemoError

WAITING = [DeliveryState.QUEUED, DeliveryState.SENDING]


def set_clock(path: Path, moment: datetime) -> None:
    """Move the clock; written beside and renamed, so that no process reads half a line."""
    fresh = path.with_suffix(".new")
    fresh.write_text(moment.isoformat())
    fresh.replace(path)


def monday_morning(monday: date) -> datetime:
    """Half past five on a Monday at the group: the weekly check is due from five."""
    return datetime.combine(monday, time_of_day(5, 30), ZoneInfo(scenario.TIME_ZONE))


def evening_of(day: date) -> datetime:
    return datetime.combine(day, time_of_day(19, 0), ZoneInfo(scenario.TIME_ZONE))


def check_week(monday: date, *, alive: Callable[[], None]) -> None:
    """Ring the bell and wait until the worker has judged the week before `monday` and sent its mails.

    Beat rings by itself each minute; ringing here only saves the wait. Raises DemoError when nothing comes of it.
    """
    week = monday - timedelta(days=7)
    app.send_task("alerts.tasks.check_due_groups")
    _wait(lambda: CheckRun.objects.filter(week=week, state=RunState.DONE).exists(), alive)
    app.send_task("alerts.tasks.send_due_mail")
    _wait(lambda: not _mail_waits(), alive)


def count_what_runs(moment: datetime, *, alive: Callable[[], None]) -> None:
    """Count what must match once more, and wait for it.

    Beat counts once a minute and the clock went weeks ahead in that minute: what was counted last tells of a check that
    has long run as late. Raises DemoError when nothing comes of it.
    """
    app.send_task("server.tasks.watch")
    _wait(lambda: not Running.objects.filter(due_at__lt=moment).exists(), alive)


def sign_day(day: date, *, alive: Callable[[], None]) -> None:
    """Have the worker sign a day and file its head, and wait for it. Raises DemoError when nothing comes of it."""
    app.send_task("server.tasks.sign_days")
    _wait(lambda: DailyHead.objects.filter(day=day, filed_at__isnull=False).exists(), alive)


def _mail_waits() -> bool:
    # Through the role that sees every farm and changes nothing.
    return any(model.objects.using("backup").filter(Q(state__in=WAITING)).exists() for model in (Digest, MondayList))


def _wait(done: Callable[[], bool], alive: Callable[[], None]) -> None:
    deadline = time.monotonic() + PATIENCE
    while not done():
        alive()
        if time.monotonic() > deadline:
            raise DemoError("The worker did not do its part in time. See the demo's logs folder.")
        time.sleep(0.05)
