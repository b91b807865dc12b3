"""The weekly check of a group: a week judged for the first time, or again for what arrived after it was."""

from collections.abc import Collection
from dataclasses import replace
from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING
from uuid import UUID

from alerts.checks.borrowed import borrowed_of, fix_borrowed
from alerts.checks.calendar import WEEK, is_newest, newest_due
from alerts.checks.judge import farms_to_judge, judge
from alerts.checks.names import store_names
from alerts.checks.occasion import Occasion
from alerts.checks.rises import open_rises
from alerts.log_context import judging
from alerts.models import CheckFailure, CheckRun
from alerts.models.check import RunState
from alerts.selectors.rules import rules_of_group
from monitoring.selectors import farms_received_since

if TYPE_CHECKING:
    from farms.models import Farm, Group

WEEKS_BACK = 8
# A reading may be stored a moment after the run read, under a time before it: so a little is looked at twice.
SLACK = timedelta(minutes=2)


def run_group_week(*, run: CheckRun, now: datetime) -> list["Farm"]:
    """Judge a claimed week of a group. Returns the farms that were judged; the run knows how many failed."""
    fix_borrowed(run.group, run.week, now)
    newest = is_newest(run.week, run.group.time_zone, now)
    occasion = _occasion(run.group, run.week, now, newest=newest)
    judged = judge(farms_to_judge(occasion), occasion, run)
    store_names(judged.seen, occasion, run)
    open_rises(judged.farms, occasion, run)
    run.farms, run.failures, run.judged_to = len(judged.farms) + judged.failed, judged.failed, now
    return judged.farms


def judge_late_readings(group: "Group", now: datetime) -> int:
    """Judge again, up to eight weeks back, what readings and corrections changed since. Returns farm-weeks looked at.

    A week's trend rests on the weeks before it, so each later week of the farm is looked at too. A result that stays
    the same gets no new revision.
    """
    newest = newest_due(group.time_zone, now)
    runs = CheckRun.objects.filter(group_id=group.id, state=RunState.DONE, week__gt=newest - WEEKS_BACK * WEEK)
    looked_at, changed = 0, set[UUID]()
    for run in runs.order_by("week"):
        changed |= _received(run)
        if changed:
            looked_at += len(changed)
            with judging(run):
                _judge_again(group, run, changed, now)
        CheckRun.objects.filter(id=run.id, judged_to__lt=now).update(judged_to=now)
    return looked_at


def retry_failures(group: "Group", now: datetime) -> list["Farm"]:
    """Judge the farms that were set aside and whose time has come. Returns those whose newest week is judged now."""
    newest = newest_due(group.time_zone, now)
    waiting = CheckFailure.objects.filter(farm__group_id=group.id, solved_at__isnull=True, retry_at__lte=now)
    solved: list[Farm] = []
    for week in sorted(set(waiting.values_list("week", flat=True))):
        farm_ids = list(waiting.filter(week=week).order_by("farm_id").values_list("farm_id", flat=True))
        run = CheckRun.objects.filter(group_id=group.id, week=week).first()
        # The newest week is this farm's first judgement; an older one opens no alert about the past.
        occasion = _occasion(group, week, now, newest=week == newest, again=week != newest)
        judged = judge(farm_ids, replace(occasion, rise_bars=run.rise_bars if run else None))
        solved += judged.farms if week == newest else []
    return solved


def _occasion(group: "Group", week: date, now: datetime, *, newest: bool, again: bool = False) -> Occasion:
    occasion = Occasion(group, week, now, newest=newest, again=again, borrowed=borrowed_of(group.id, week))
    return replace(occasion, rules=rules_of_group(group.id, occasion.sunday))


def _received(run: CheckRun) -> set[UUID]:
    if run.judged_to is None:
        return set()
    return farms_received_since(run.group_id, run.week, run.judged_to - SLACK)


def _judge_again(group: "Group", run: CheckRun, farm_ids: Collection[UUID], now: datetime) -> None:
    newest = is_newest(run.week, group.time_zone, now)
    occasion = _occasion(group, run.week, now, newest=newest, again=True)
    judge(sorted(farm_ids), replace(occasion, rise_bars=run.rise_bars))
