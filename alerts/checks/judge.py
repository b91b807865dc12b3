"""Judging one week of many farms at once; a farm that can't be judged is set aside with its error."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from functools import partial, reduce
from operator import or_
from typing import TYPE_CHECKING
from uuid import UUID

import numpy as np
from django.db.models import Exists, OuterRef

from alerts.checks.by_halves import by_halves
from alerts.checks.claims import hold_group, keep_run, renew
from alerts.checks.drafts import Drafts, changed, drafts_of
from alerts.checks.failures import set_aside
from alerts.checks.grid import Grid, first_week_of_window
from alerts.checks.known import KnownWeek, OpenAlert, PastResult, Result, by_farm
from alerts.checks.life import changes_of, over_week
from alerts.checks.names import Seen, seen_of
from alerts.checks.occasion import Occasion
from alerts.checks.open_alerts import last_noted, last_rounds_noted, open_alerts_of
from alerts.checks.outlook import weeks_by_method
from alerts.checks.rules import overdue
from alerts.checks.side_by_side import no_search_for_cycles, side_by_side
from alerts.checks.store import store_changes, store_results
from alerts.log_context import judging_week
from alerts.models import Alert, Assessment, CheckFailure, CheckRun
from alerts.models.alert import Rule
from alerts.models.assessment import LevelWord, TrendWord
from alerts.rounds import Season, Walks
from alerts.selectors.results import assessments_of_farms, latest
from alerts.selectors.rounds import seasons_by_farm, walks_of_farms
from farms.closures import closed_farms
from farms.lookups import array_of
from farms.selectors import farms_of_group, in_season
from monitoring.arrays import readings_for_check

if TYPE_CHECKING:
    from farms.models import Farm

# About as many farms as stay in the processor's cache (design.md, decision 7).
CHUNK = 500
WEEK = timedelta(days=7)
Farms = Sequence["Farm"]
Seasons = Mapping[UUID, tuple[Season, ...]]


@dataclass(frozen=True)
class Judged:
    """The farms that were judged, their weeks, and how many could not be: each of these has its CheckFailure."""

    farms: list["Farm"] = field(default_factory=list)
    seen: list[Seen] = field(default_factory=list)
    failed: int = 0

    def __or__(self, other: "Judged") -> "Judged":
        return Judged(self.farms + other.farms, self.seen + other.seen, self.failed + other.failed)


def judge(farm_ids: Sequence[UUID], occasion: Occasion, run: CheckRun | None = None) -> Judged:
    """Judge a week of these farms, some hundreds at a time: side by side, where a run was claimed for it."""
    chunks = [farm_ids[start : start + CHUNK] for start in range(0, len(farm_ids), CHUNK)]
    tasks = [partial(_judge_chunk, chunk, occasion, run) for chunk in chunks]
    with no_search_for_cycles(), judging_week(occasion):
        parts = side_by_side(tasks) if run is not None else [task() for task in tasks]
    return reduce(or_, parts, Judged())


def _judge_chunk(farm_ids: Sequence[UUID], occasion: Occasion, run: CheckRun | None) -> Judged:
    farms = farms_of_group(occasion.group.id).filter(id__any_of=array_of(farm_ids))
    parts = by_halves(
        list(farms),
        lambda some: Judged(list(some), _judge_together(some, occasion, run)),
        lambda farm, error: _give_up(farm, occasion, error),
        before=lambda: renew(run) if run is not None else None,
    )
    return reduce(or_, parts, Judged())


def _give_up(farm: "Farm", occasion: Occasion, error: Exception) -> Judged:
    set_aside(farm, occasion.week, error, occasion.now)
    return Judged(failed=1)


def _judge_together(farms: Farms, occasion: Occasion, run: CheckRun | None) -> list[Seen]:
    """One read, one analysis, one write. All within a transaction."""
    if run is None:
        hold_group(occasion.group.id)
    else:
        keep_run(run)
    farm_ids = [farm.id for farm in farms]
    seasons = seasons_by_farm(farm_ids)
    counting = [own for own in farm_ids if any(each.overlaps(occasion.week, occasion.sunday) for each in seasons[own])]
    grid = Grid(readings_for_check(counting, first_week_of_window(occasion.week), occasion.week), occasion.week)
    owners = grid.farm_owners()
    weeks = weeks_by_method(grid, owners, occasion.borrowed)
    drafts = drafts_of(grid, occasion, owners, weeks)
    store_results(changed(drafts, assessments_of_farms(counting, occasion.week, occasion.week)))
    if occasion.changes_alerts:
        known_weeks = _known_weeks(farms, seasons, drafts, occasion)
        store_changes([change for known in known_weeks for change in changes_of(known, occasion)], occasion)
    unsolved = CheckFailure.objects.filter(week=occasion.week, solved_at__isnull=True)
    unsolved.filter(farm_id__any_of=array_of(farm_ids)).update(solved_at=occasion.now)
    return seen_of(grid, owners, weeks)


def _known_weeks(farms: Farms, seasons: Seasons, drafts: Drafts, occasion: Occasion) -> Iterator[KnownWeek]:
    """What is known of the farms whose alerts may change."""
    farm_ids, days = [farm.id for farm in farms], {farm.id: occasion.day_on(farm) for farm in farms}
    alerts = by_farm(open_alerts_of(farm_ids))
    results = by_farm(_telling(drafts, alerts).results())
    history = by_farm(_history(results, alerts, occasion))
    every = [alert for own in alerts.values() for alert in own]
    was_met, last_rounds = last_noted(every, occasion.week), last_rounds_noted(every)
    # No round can be dated after its farm's own today, so the latest of these days serves all.
    walks = walks_of_farms(seasons, max(days.values()))
    closed = closed_farms(farms, max(days.values()))
    for farm in farms:
        own = farm.id
        if own in results or own in alerts or _may_be_overdue(walks[own], days[own], occasion):
            known = KnownWeek(farm, results.get(own, []), history.get(own, []), alerts.get(own, []), walks[own])
            yield replace(known, was_met=was_met, last_rounds=last_rounds, no_visitors=own in closed)


def _may_be_overdue(walks: Walks, day: date, occasion: Occasion) -> bool:
    return overdue.opens(walks, day, occasion.rules.number(Rule.OVERDUE, "days"))


def _telling(drafts: Drafts, alerts: Mapping[UUID, Sequence[OpenAlert]]) -> Drafts:
    """The results that can open an alert, and those of the places that have one."""
    columns = drafts.columns
    telling = (columns["result"] == LevelWord.OVER.value) | (columns["trend"] == TrendWord.RISING.value)
    telling |= drafts.for_alerts.met > 0
    places = {(alert.farm_id, alert.facility_id, alert.method) for own in alerts.values() for alert in own}
    return drafts.only(telling | np.array([key in places for key in drafts.places()], np.bool_))


def _history(
    results: Mapping[UUID, Sequence[Result]], alerts: Mapping[UUID, Sequence[OpenAlert]], occasion: Occasion
) -> list[PastResult]:
    """The results since the oldest alert that this week's result may close, of the places of such alerts."""
    ending = [
        (row.place, alert.since_week)
        for own, opened in alerts.items()
        for row in results.get(own, ())
        for alert in opened
        if (alert.facility_id, alert.method) == row.place[1:] and _may_close(row, alert, occasion)
    ]
    if not ending:
        return []
    closing, oldest = {place for place, _ in ending}, min(opened for _, opened in ending)
    farms = {farm_id for farm_id, _, _ in closing}
    rows = latest(Assessment.objects.filter(farm_id__any_of=array_of(farms), week__gt=oldest, week__lt=occasion.week))
    past = (PastResult(*row) for row in rows.values_list(*PastResult._fields))
    return [each for each in past if each[:3] in closing]


def _may_close(row: Result, alert: OpenAlert, occasion: Occasion) -> bool:
    """Whether a result can be the last of those that close an alert; the earlier ones needn't be read where not."""
    if alert.rule == Rule.OVER:
        return over_week(row).is_low(occasion.rules.number(Rule.OVER, "closes_below"))
    return alert.rule == Rule.RISING and row.trend in (TrendWord.LEVEL, TrendWord.FALLING)


def farms_to_judge(occasion: Occasion) -> list[UUID]:
    """The group's farms (their ids) in season in this week, and those out of season whose alerts are still open."""
    has_alerts = Exists(Alert.objects.filter(farm_id=OuterRef("id"), closed_at__isnull=True))
    farms = farms_of_group(occasion.group.id).filter(in_season(occasion.week, occasion.sunday) | has_alerts)
    return list(farms.values_list("id", flat=True))
