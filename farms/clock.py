"""The one clock. Only views, tasks and commands read it; below them `now` is an argument."""

import time
from collections.abc import Callable
from datetime import date, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

from django.conf import settings
from django.utils import timezone


def now() -> datetime:
    """The present moment, in UTC; the time written in settings.CLOCK_FILE where one is set (the demo, journeys)."""
    moved = settings.CLOCK_FILE
    if not moved:
        return timezone.now()
    return datetime.fromisoformat(Path(moved).read_text().strip())


def going_on_from(now: datetime) -> Callable[[], datetime]:
    """A clock that shows `now` at this moment and goes on by itself: for work that takes longer than it may."""
    began = time.monotonic()
    return lambda: now + timedelta(seconds=time.monotonic() - began)


def local_date(moment: datetime, zone: str) -> date:
    """The calendar day of a moment in a time zone named as in the IANA database."""
    return moment.astimezone(ZoneInfo(zone)).date()


def quarter_of(day: date) -> date:
    """The first day of the quarter that holds a day."""
    return date(day.year, 3 * ((day.month - 1) // 3) + 1, 1)


def next_quarter(day: date) -> date:
    """The first day of the quarter after the one that holds a day."""
    return quarter_of(quarter_of(day) + timedelta(days=100))


def monday_of(day: date) -> date:
    """The Monday of the ISO 8601 week that holds a day."""
    return day - timedelta(days=day.weekday())
