"""On which days planned work falls, and what a plan may say. Pure functions; days are the farm's own.

Days are reckoned by RFC 5545's rules for recurrence, as python-dateutil implements them, but for one thing: a plan by
the month from the 29th, 30th or 31st takes the last day of a month that is shorter, where the RFC would skip it.
"""

from collections.abc import Collection, Sequence
from datetime import date, datetime, time, timedelta
from functools import lru_cache
from itertools import takewhile
from typing import Protocol

from dateutil.rrule import DAILY, MONTHLY, WEEKLY, rrule
from django.utils.translation import gettext_lazy as _

from farms.errors import Detail
from monitoring.models.planned_work import Unit

FREQUENCY = {Unit.DAY: DAILY, Unit.WEEK: WEEKLY, Unit.MONTH: MONTHLY}
SHORTEST_MONTH = 28
MOST_DAYS, MOST_TIMES = 400, 200
# So long a day that came is due where it isn't noted; and so long before it the work may be noted as done.
LAPSES, EARLY = timedelta(days=56), timedelta(days=7)
PASSED = _("Planned is what is still to come, and this day has passed. What was done is noted as work.")
TOO_FAR = _("This is more than 400 days ahead. Check the day and its year.")
NO_END = _(
    "Work that is to be done again and again needs a last day. Give one, at most 400 days after the first; it can be "
    "planned anew then."
)
NO_STEP = _("Say how often: every so many days, weeks or months, at least 1.")
NOTHING_REPEATS = _("A last day is for work that is to be done again and again. Say how often, or leave it empty.")
ENDS_FIRST = _("The last day is before the first. Correct one of them.")
TOO_LONG = _("The last day is more than 400 days after the first. Give an earlier one; it can be planned anew then.")
TOO_OFTEN = _("That is more than 200 times. Give an earlier last day, or longer steps.")
ONLY_ONCE = _("With these steps it would be done only once. Give a later last day, or leave the repeating away.")
NOT_PLANNED = _("This isn't a day of the plan. Choose one of its days.")
TOO_EARLY = _(
    "This day of the plan is more than a week ahead of the day it was done. Choose the day that it stands for."
)


class Repeats(Protocol):
    """A first day and, where it is done again and again, steps and an end."""

    @property
    def first_day(self) -> date: ...
    @property
    def every(self) -> int | None: ...
    @property
    def unit(self) -> str: ...
    @property
    def last_day(self) -> date | None: ...


def days_of(plan: Repeats) -> tuple[date, ...]:
    """All days of a plan, in order."""
    if plan.every is None or plan.last_day is None:
        return (plan.first_day,)
    return _days(plan.first_day, plan.every, plan.unit, plan.last_day)


@lru_cache(maxsize=2048)
def _days(first: date, every: int, unit: str, last: date) -> tuple[date, ...]:
    ends_of_month = {}
    if unit == Unit.MONTH and first.day > SHORTEST_MONTH:
        # The last of these that the month has.
        ends_of_month = {"bymonthday": tuple(range(SHORTEST_MONTH, first.day + 1)), "bysetpos": -1}
    begins, until = (datetime.combine(day, time()) for day in (first, last))
    # One more than may be planned, so that it shows.
    rule = rrule(FREQUENCY[Unit(unit)], dtstart=begins, interval=every, count=MOST_TIMES + 1, **ends_of_month)
    return tuple(each.date() for each in takewhile(lambda each: each <= until, rule))


def plan_faults(plan: Repeats, today: date) -> list[Detail]:
    """What can't be right about the days of a plan that is made today."""
    if plan.first_day < today:
        return [Detail("/first_day", str(PASSED), "day_passed")]
    if plan.first_day > today + timedelta(days=MOST_DAYS):
        return [Detail("/first_day", str(TOO_FAR), "too_far")]
    if plan.every is None and not plan.unit:
        return [Detail("/last_day", str(NOTHING_REPEATS), "nothing_repeats")] if plan.last_day is not None else []
    if plan.every is None or plan.every < 1 or plan.unit not in Unit.values:
        return [Detail("/every", str(NO_STEP), "no_step")]
    return _end_faults(plan)


def planned_day_faults(plan: Repeats, day: date, done_on: date) -> list[Detail]:
    """What can't be right about the day of a plan that something done on a day is to stand for."""
    if day not in days_of(plan):
        return [Detail("/planned_for", str(NOT_PLANNED), "not_planned")]
    if day - done_on > EARLY:
        return [Detail("/planned_for", str(TOO_EARLY), "too_early")]
    return []


def _end_faults(plan: Repeats) -> list[Detail]:
    last = plan.last_day
    if last is None:
        return [Detail("/last_day", str(NO_END), "no_end")]
    if last < plan.first_day:
        return [Detail("/last_day", str(ENDS_FIRST), "ends_before_it_begins")]
    if last - plan.first_day > timedelta(days=MOST_DAYS):
        return [Detail("/last_day", str(TOO_LONG), "too_long")]
    times = len(days_of(plan)) if (plan.every or 0) <= MOST_DAYS else 1
    if times > MOST_TIMES:
        return [Detail("/last_day", str(TOO_OFTEN), "too_often")]
    return [] if times > 1 else [Detail("/last_day", str(ONLY_ONCE), "only_once")]


def due_on(days: Sequence[date], settled: Collection[date], today: date) -> date | None:
    """The day of a plan that is due: the newest that has come, unless it is settled (done or left out) or long ago.

    A day before it that nobody noted is not due any more: doing the work now is the newest day's.
    """
    come = [day for day in days if day <= today]
    if not come or come[-1] in settled or today - come[-1] > LAPSES:
        return None
    return come[-1]


def ahead_of(days: Sequence[date], settled: Collection[date], today: date, until: date) -> list[date]:
    """The days of a plan after today, up to one, that are not settled."""
    return [day for day in days if today < day <= until and day not in settled]
