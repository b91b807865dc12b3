"""What crossed its action level sharply between two Mondays, by the rounds received since a week was judged.

The plain comparison of a round, as its page shows it, with a margin: a mean that wobbles about its level must never
make a mail. A round of the week that is judged already has it judged again; what opens so is told as well, where the
farm's mail about that week was written before.
"""

from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING
from uuid import UUID

import numpy as np
from django.db.models import Exists, OuterRef
from django.db.models.functions import Coalesce

from alerts.models import Alert, Assessment, CheckFailure, Digest
from alerts.models.alert import Rule
from alerts.models.assessment import LevelWord
from alerts.models.outbox import midweek_occasion_of, occasion_of
from alerts.selectors.levels import levels_of_farms
from alerts.selectors.results import assessments_of_farms
from alerts.selectors.rules import rules_of_group
from farms.clock import local_date, monday_of
from farms.lookups import array_of
from farms.selectors import farms_of_group, in_season
from monitoring.analysis.weeks import week_of_exposure
from monitoring.selectors import (
    FacilityResult,
    farms_received_since,
    last_done,
    pooled_result,
    readings_of_week,
    readings_received,
    round_ranges,
)

if TYPE_CHECKING:
    from alerts.levels import FarmLevels
    from alerts.models import CheckRun
    from farms.models import Farm
    from monitoring.models import Reading
    from monitoring.selectors import Done

WEEK, SUNDAY = timedelta(days=7), timedelta(days=6)  # a week is judged by what applied on its Sunday
OLDEST = timedelta(days=3)  # of a round; older ones are Monday's, so that no flood follows an outage
TOGETHER = 200  # farms whose readings are held in memory at once
Place = tuple[UUID, str]


@dataclass(frozen=True)
class Crossed:
    """A facility's result in a week sharply over its level, its range, and what the week before said there.

    `walked_on` is the day of the round that came in last of those it rests on.
    """

    week: date
    walked_on: date
    result: FacilityResult
    low: float
    high: float | None
    before: Assessment | None


@dataclass(frozen=True)
class Midweek:
    """A farm with something sharply over its level, the furthest first: its running week, the last work noted."""

    farm: "Farm"
    week: date
    crossed: Sequence[Crossed]
    work: "Done | None" = None

    @property
    def walked_on(self) -> date:
        return max(each.walked_on for each in self.crossed)


@dataclass(frozen=True)
class _Look:
    """One look at a group: after which week's run, on which day, how far back, and how many times a level is sharp."""

    run: "CheckRun"
    today: date
    oldest: datetime
    times: float


@dataclass(frozen=True)
class _Known:
    """What is asked of many farms at once: levels, the week before, and which places were known to be over."""

    week: date
    times: float
    levels: Mapping[UUID, "FarmLevels"]
    before: Mapping[tuple[UUID, UUID | None, str], Assessment]
    over: Collection[tuple[UUID, UUID | None, str]]


def midweek_of(run: "CheckRun", since: datetime, now: datetime) -> list[Midweek]:
    """The farms of a judged week's group whose rounds since, of the week after it, found something sharply over.

    And those of which a round did of the judged week itself, after their mail about it was written. Those that had
    this week's mail are left out.
    """
    today, week = local_date(now, run.group.time_zone), run.week + WEEK
    rules = rules_of_group(run.group_id, today)
    if not rules.is_on(Rule.OVER) or week != monday_of(today):
        return []
    look = _Look(run, today, now - OLDEST, rules.number(Rule.OVER, "sharply"))
    received, opened = farms_received_since(run.group_id, week, since), _opened_since_their_mail(look)
    farms = _farms(look, received | set(opened))
    crossed: dict[UUID, list[Crossed]] = defaultdict(list)
    of_running = _of_running_week(look, [own for own in farms if own in received])
    of_judged = _of_judged_week(look, {own: opened[own] for own in farms if own in opened})
    for farm_id, each in (*of_running, *of_judged):
        crossed[farm_id].append(each)
    works = last_done(list(crossed), today)
    return [Midweek(farms[own], week, _furthest_first(found), works.get(own)) for own, found in crossed.items()]


def _furthest_first(crossed: Iterable[Crossed]) -> list[Crossed]:
    return sorted(crossed, key=lambda each: -_times_over(each.result))


def _farms(look: _Look, farm_ids: Iterable[UUID]) -> dict[UUID, "Farm"]:
    """Those of these farms that are in season today, were not set aside by the check, and had no such mail yet."""
    run = look.run
    failed = CheckFailure.objects.filter(week=run.week, solved_at__isnull=True).values("farm_id")
    mailed = Digest.objects.filter(farm_id=OuterRef("id"), occasion=midweek_occasion_of(run.week + WEEK))
    in_question = farms_of_group(run.group_id).filter(in_season(look.today, look.today), id__any_of=array_of(farm_ids))
    return {farm.id: farm for farm in in_question.exclude(id__in=failed).exclude(Exists(mailed))}


def _parts(farm_ids: Sequence[UUID]) -> Iterator[Sequence[UUID]]:
    return (farm_ids[start : start + TOGETHER] for start in range(0, len(farm_ids), TOGETHER))


def _of_running_week(look: _Look, farm_ids: Sequence[UUID]) -> Iterator[tuple[UUID, Crossed]]:
    """What the fresh rounds of these farms, pooled as a week's are, found sharply over in the running week."""
    for part in _parts(farm_ids):
        received = readings_received(part, look.oldest, after=look.run.week)
        fresh = {farm_id: [each for each in own if _is_fresh(each, look)] for farm_id, own in received.items()}
        known = _known_of_running(look, list(fresh))
        yield from ((own, each) for own, readings in fresh.items() for each in _crossed(own, readings, known))


def _is_fresh(reading: "Reading", look: _Look) -> bool:
    return _week_of(reading) == look.run.week + WEEK and reading.round.walked_on >= look.today - OLDEST


def _known_of_running(look: _Look, farm_ids: Sequence[UUID]) -> _Known:
    """Where a matter over the level is open, it is known."""
    alerts = Alert.objects.filter(farm_id__any_of=array_of(farm_ids), rule=Rule.OVER, closed_at__isnull=True)
    known = _known(look, farm_ids, look.run.week + WEEK, look.today)
    return replace(known, over={*known.over, *alerts.values_list("farm_id", "facility_id", "method")})


def _known(look: _Look, farm_ids: Sequence[UUID], week: date, day: date) -> _Known:
    rows = assessments_of_farms(farm_ids, week - WEEK, week - WEEK)
    before = {(row.farm_id, row.facility_id, row.method): row for row in rows}
    over = {place for place, row in before.items() if row.result == LevelWord.OVER}
    return _Known(week, look.times, levels_of_farms(look.run.group_id, farm_ids, day), before, over)


def _of_judged_week(look: _Look, opened: Mapping[UUID, Collection[Place]]) -> Iterator[tuple[UUID, Crossed]]:
    """What these places, whose matter opened since their farm's mail, hold sharply over in the week that was judged."""
    week = look.run.week
    for part in _parts(list(opened)):
        known = _known(look, part, week, week + SUNDAY)
        for farm_id, readings in readings_of_week(part, week).items():
            there = [each for each in readings if (each.station.facility_id, each.method) in opened[farm_id]]
            found = _crossed(farm_id, there, known)
            yield from ((farm_id, each) for each in found if each.walked_on >= look.today - OLDEST)


def _opened_since_their_mail(look: _Look) -> dict[UUID, set[Place]]:
    """By farm, where the judged week's result is sharply over, as it became after the farm's first mail about it."""
    week, since = look.run.week, Coalesce("reopened_at", "opened_at")
    told = Digest.objects.filter(
        farm_id=OuterRef("farm_id"), occasion=occasion_of(week), queued_at__lt=OuterRef("since")
    )
    over = Alert.objects.filter(farm__group_id=look.run.group_id, rule=Rule.OVER, closed_at__isnull=True)
    of_week = over.annotate(since=since, since_week=Coalesce("reopened_week", "opened_week")).filter(since_week=week)
    opened = of_week.filter(Exists(told), facility_id__isnull=False, since__gte=look.oldest)
    places = set(opened.values_list("farm_id", "facility_id", "method"))
    found: dict[UUID, set[Place]] = defaultdict(set)
    results = assessments_of_farms({place[0] for place in places}, week, week)
    sharp = {(row.farm_id, row.facility_id, row.method) for row in results if _is_sharply_over(row, look.times)}
    for farm_id, facility_id, method in places:
        if facility_id is not None and (farm_id, facility_id, method) in sharp:
            found[farm_id].add((facility_id, method))
    return found


def _is_sharply_over(row: Assessment, times: float) -> bool:
    level = row.level or 0.0
    return level > 0 and (row.mean or 0.0) / level >= times and (row.low or 0.0) > level


def _crossed(farm_id: UUID, readings: Sequence["Reading"], known: _Known) -> list[Crossed]:
    """What is sharply over, and was not known to be over."""
    levels = known.levels[farm_id]
    results = pooled_result(readings, lambda method, facility_id: levels.of(method, facility_id).value)
    over = [result for result in results if _is_sharp(result, known.times)]
    if not over:
        return []
    ranges, found = round_ranges(readings), []
    for result in over:
        place = (result.facility.id, result.method.code)
        (low, high), known_as = ranges[place], (farm_id, *place)
        if low is not None and low > (result.level or 0.0) and known_as not in known.over:
            walked_on, before = _last_walked(readings, place), known.before.get(known_as)
            found.append(Crossed(known.week, walked_on, result, low, high, before))
    return found


def _last_walked(readings: Sequence["Reading"], place: Place) -> date:
    """The day of the round that came in last of those that counted there."""
    there = (each for each in readings if (each.station.facility_id, each.method) == place)
    walked: date = max((each.received_at, each.round.walked_on) for each in there)[1]
    return walked


def _is_sharp(result: FacilityResult, times: float) -> bool:
    return result.word == LevelWord.OVER and _times_over(result) >= times


def _times_over(result: FacilityResult) -> float:
    """Mean over action level; a level of zero is no measure of it."""
    return result.mean / result.level if result.mean is not None and result.level else 0.0


def _week_of(reading: "Reading") -> date:
    hung, taken = np.datetime64(reading.hung_on or reading.taken_on), np.datetime64(reading.taken_on)
    week: date = week_of_exposure(np.array([hung]), np.array([taken]))[0].item()
    return week
