"""When a week is due: from the group's local Monday, 05:00, after it."""

from datetime import date, datetime, time, timedelta
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from alerts.models import Alert, CheckRun
from alerts.models.check import RunState
from alerts.rounds import Season
from farms.clock import local_date, monday_of
from farms.selectors import season_spans_of_group

if TYPE_CHECKING:
    from farms.models import Group

DUE_TIME = time(5)
WEEK = timedelta(days=7)


def due_at(week: date, time_zone: str) -> datetime:
    """The moment from which a week (its Monday) may be judged. On a day when the clocks change 05:00 is still 05:00."""
    return datetime.combine(week + WEEK, DUE_TIME, ZoneInfo(time_zone))


def received_from(week: date, time_zone: str) -> datetime:
    """From when readings of a week (its Monday) can come in: none is taken before it, further east a day before."""
    return datetime.combine(week - timedelta(days=1), time(), ZoneInfo(time_zone))


def newest_due(time_zone: str, now: datetime) -> date:
    """The newest week that is due."""
    week = monday_of(local_date(now, time_zone)) - WEEK
    return week if due_at(week, time_zone) <= now else week - WEEK


def due_weeks(group: "Group", now: datetime) -> list[date]:
    """The group's weeks that are due and not judged yet, oldest first: every one in which a season was open.

    The newest week is due as well while alerts are open, so that a season closed late still closes them.
    """
    newest = newest_due(group.time_zone, now)
    weeks = {week for span in season_spans_of_group(group.id) for week in weeks_of(Season(*span), newest)}
    if newest not in weeks and Alert.objects.filter(farm__group_id=group.id, closed_at__isnull=True).exists():
        weeks.add(newest)
    done = CheckRun.objects.filter(group_id=group.id, state=RunState.DONE).values_list("week", flat=True)
    return sorted(weeks - set(done))


def weeks_of(season: Season, newest: date) -> list[date]:
    """The ISO weeks (their Mondays) in which a season was open, up to the newest due one."""
    first, last = monday_of(season.opens_on), monday_of(season.closes_on or newest)
    return [first + number * WEEK for number in range((min(last, newest) - first).days // 7 + 1)]


def is_newest(week: date, time_zone: str, now: datetime) -> bool:
    """Whether no later week is due yet: only then do mails go out."""
    return newest_due(time_zone, now) <= week
