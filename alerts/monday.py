"""What happens on a Monday: a group's due weeks are judged, its region reports published, its mails written.

In this order, so that a run that is done has everything behind it. Whatever stops halfway is done again from its start
by the next tick that finds its lease run out; what it stored is found to be the same, and mails that are written stay.
"""

import logging
from collections.abc import Callable
from datetime import date, datetime, timedelta
from functools import partial
from typing import TYPE_CHECKING

from django.conf import settings
from django.db import InterfaceError, OperationalError, connection
from django.db.models import Q

from alerts.checks.calendar import WEEK, due_weeks, is_newest, newest_due
from alerts.checks.claims import RunLost, claim, finish, give_back, renew
from alerts.checks.escalation import escalate_unseen
from alerts.checks.group_week import WEEKS_BACK, judge_late_readings, retry_failures, run_group_week
from alerts.delivery.coordinator_report import queue_coordinator_reports
from alerts.delivery.due_digests import queue_due_digests, write_due
from alerts.delivery.monday_list import queue_monday_lists
from alerts.delivery.region_bulletin import queue_region_bulletins
from alerts.log_context import judging
from alerts.models import CheckRun
from alerts.models.check import RunState
from alerts.selectors.levels import levels_of_group
from farms.clock import going_on_from
from monitoring.methods import METHODS
from monitoring.regional import Edition, publish_week

if TYPE_CHECKING:
    from farms.models import Group

SUNDAY = timedelta(days=6)  # a week is judged by what applied on its Sunday
UNPUBLISHED = "Region reports were not published."
UNWRITTEN = "Lists or reports were not all written."
logger = logging.getLogger(__name__)


def check_group(group: "Group", now: datetime) -> list[date]:
    """Judge every due week of a group, oldest first. Returns the weeks done; stops at one that another worker has."""
    done: list[date] = []
    clock = going_on_from(now)
    for week in due_weeks(group, now):
        # By the hour that it is by then: after an outage the last of many weeks is claimed long after the first.
        run = claim(group.id, week, clock())
        if run is None:
            break
        with judging(run):
            judged = _check_week(run, now)
        if not judged:
            break
        done.append(week)
    return done


def judge_again(group: "Group", now: datetime) -> int:
    """Bring in what arrived late, the farms that had been set aside, and region reports that could not be published.

    Tells advisers what nobody has looked at, and writes the mails whose day has come, and the bulletins of regions.
    Returns farm-weeks looked at.
    """
    looked_at = judge_late_readings(group, now)
    escalate_unseen(group, now)
    solved = retry_failures(group, now)
    queue_due_digests(group, now=now)
    _do_what_failed(group, now)
    # Here and not with the lists: a region's reports may come out later, and a reader may ask for them later.
    queue_region_bulletins(group, newest_due(group.time_zone, now), now)
    return looked_at + len(solved)


def _check_week(run: CheckRun, now: datetime) -> bool:
    """One claimed week from judging to mail. False, with the error on the run, where it has to be done again."""
    try:
        run_group_week(run=run, now=now)
        renew(run)
        run.error = _publish(run, now, keep=partial(renew, run))
        if is_newest(run.week, run.group.time_zone, now):
            run.error = _together(run.error, _write_mails(run, now))
    except RunLost:
        logger.warning("group %s: another worker has taken over week %s", run.group_id, run.week)
        return False
    except Exception as error:
        logger.exception("group %s: the check of week %s stopped", run.group_id, run.week)
        # Where PostgreSQL was restarted the connection is gone, and with a new one the run need not wait for its lease.
        if not connection.in_atomic_block:
            connection.close_if_unusable_or_obsolete()
        give_back(run, f"{type(error).__name__}: {error}", now=run.clock())
        return False
    return finish(run, now=run.clock())


def _publish(run: CheckRun, now: datetime, keep: Callable[[], object] = lambda: None) -> str:
    """Publish the week's region reports. A failure is stored on the run and doesn't stop the mails."""
    own = levels_of_group(run.group_id, run.week + SUNDAY)
    levels = {code: own[code].value if code in own else method.default_level for code, method in METHODS.items()}
    known = {code: value for code, value in levels.items() if value is not None}
    try:
        publish_week(group_id=run.group_id, edition=Edition(run.week, known, now, settings.CODE_VERSION), keep=keep)
    except RunLost:
        raise
    except Exception as error:
        logger.exception("group %s: the region reports of week %s were not published", run.group_id, run.week)
        return f"{UNPUBLISHED} {type(error).__name__}: {error}"
    return ""


def _do_what_failed(group: "Group", now: datetime) -> None:
    """Try again what a run could not publish or write; what it stored of that is found to be there."""
    newest = newest_due(group.time_zone, now)
    failed = CheckRun.objects.filter(group_id=group.id, state=RunState.DONE, week__gt=newest - WEEKS_BACK * WEEK)
    unwritten = Q(error__contains=UNWRITTEN, week=newest)  # of older weeks no mail goes out any more
    for run in failed.filter(unwritten | Q(error__startswith=UNPUBLISHED)).select_related("group"):
        reports, mark, lists = run.error.partition(UNWRITTEN)
        with judging(run):
            reports = _publish(run, now) if reports else ""
            lists = _write_lists(run, now) if mark and run.week == newest else mark + lists
        CheckRun.objects.filter(id=run.id).update(error=_together(reports, lists))


def _together(reports: str, lists: str) -> str:
    return "\n".join(error for error in (reports, lists) if error)


def _write_mails(run: CheckRun, now: datetime) -> str:
    """The mails of farms whose day this is; the others' are found by the ticks of the days after."""
    write_due(run, now, keep=partial(renew, run))
    renew(run)
    return _write_lists(run, now)


def _write_lists(run: CheckRun, now: datetime) -> str:
    """Write advisers' lists and coordinators' reports. One that can't be written is told on the run, and stops none."""
    failed: list[Exception] = []
    for write in (queue_monday_lists, queue_coordinator_reports):
        try:
            write(run.group, week=run.week, now=now)
        except (OperationalError, InterfaceError):
            raise  # the database: all of it is done again
        except Exception as error:
            logger.exception("group %s: not all lists and reports of week %s were written", run.group_id, run.week)
            failed.append(error)
    return f"{UNWRITTEN} {type(failed[0]).__name__}: {failed[0]}" if failed else ""
