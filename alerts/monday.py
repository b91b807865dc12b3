"""What happens on a Monday: a group's due weeks are judged, its region reports published, its mails written.

In this order, so that a run that is done has everything behind it. Whatever stops halfway is done again from its start
by the next tick; what it stored is found to be the same.
"""

import logging
from collections.abc import Sequence
from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING

from django.conf import settings

from alerts.checks.calendar import due_weeks, is_newest, newest_due
from alerts.checks.claims import claim, finish, give_back
from alerts.checks.escalation import escalate_unseen
from alerts.checks.group_week import judge_late_readings, retry_failures, run_group_week
from alerts.delivery.digest import queue_digests
from alerts.delivery.monday_list import queue_monday_lists
from alerts.models import CheckRun
from alerts.selectors.levels import levels_of_group
from monitoring.methods import METHODS
from monitoring.regional import publish_week

if TYPE_CHECKING:
    from farms.models import Farm, Group

SUNDAY = timedelta(days=6)  # a week is judged by what applied on its Sunday
logger = logging.getLogger(__name__)


def check_group(group: "Group", now: datetime) -> list[date]:
    """Judge every due week of a group, oldest first. Returns the weeks done; stops at one that another worker has."""
    done: list[date] = []
    for week in due_weeks(group, now):
        run = claim(group.id, week, now)
        if run is None or not _check_week(run, now):
            break
        done.append(week)
    return done


def judge_again(group: "Group", now: datetime) -> int:
    """Bring in what arrived late, and the farms that had been set aside; tell advisers what nobody has looked at.

    Returns farm-weeks looked at.
    """
    looked_at = judge_late_readings(group, now)
    escalate_unseen(group, now)
    solved = retry_failures(group, now)
    if solved:
        queue_digests(group, solved, week=newest_due(group.time_zone, now), now=now)
    return looked_at + len(solved)


def _check_week(run: CheckRun, now: datetime) -> bool:
    """One claimed week from judging to mail. False, with the error on the run, where it has to be done again."""
    try:
        farms = run_group_week(run=run, now=now)
        run.error = _publish(run, now)
        if is_newest(run.week, run.group.time_zone, now):
            _write_mails(run, farms, now)
    except Exception as error:
        logger.exception("group %s: the check of week %s stopped", run.group_id, run.week)
        give_back(run, f"{type(error).__name__}: {error}", now=now)
        return False
    return finish(run, now=now)


def _publish(run: CheckRun, now: datetime) -> str:
    """Publish the week's region reports. A failure is stored on the run and doesn't stop the mails."""
    own = levels_of_group(run.group_id, run.week + SUNDAY)
    levels = {code: own[code].value if code in own else method.default_level for code, method in METHODS.items()}
    known = {code: value for code, value in levels.items() if value is not None}
    try:
        publish_week(group_id=run.group_id, week=run.week, levels=known, now=now, code_version=settings.CODE_VERSION)
    except Exception as error:
        logger.exception("group %s: the region reports of week %s were not published", run.group_id, run.week)
        return f"Region reports were not published. {type(error).__name__}: {error}"
    return ""


def _write_mails(run: CheckRun, farms: "Sequence[Farm]", now: datetime) -> None:
    queue_digests(run.group, farms, week=run.week, now=now)
    queue_monday_lists(run.group, week=run.week, now=now)
