"""What crossed its action level sharply between two Mondays, by the rounds received since a week was judged.

The plain comparison of a round, as its page shows it, with a margin: a mean that wobbles about its level must never
make a mail. A round of a week that is judged already has that week judged again, and is told on Monday.
"""

from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING
from uuid import UUID

import numpy as np
from django.db.models import Exists, OuterRef

from alerts.models import Alert, Assessment, CheckFailure, Digest
from alerts.models.alert import Rule
from alerts.models.assessment import LevelWord
from alerts.models.outbox import midweek_occasion_of
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
    last_works,
    pooled_result,
    readings_received,
    round_ranges,
)

if TYPE_CHECKING:
    from alerts.levels import FarmLevels
    from alerts.models import CheckRun
    from farms.models import Farm
    from monitoring.models import Reading, Work

WEEK = timedelta(days=7)
OLDEST = timedelta(days=3)  # of a round; older ones are Monday's, so that no flood follows an outage
TOGETHER = 200  # farms whose readings are held in memory at once
Place = tuple[UUID, str]


@dataclass(frozen=True)
class Crossed:
    """A facility's result sharply over its level, its range, and what the week before said there.

    `walked_on` is the day of the round that came in last of those it rests on.
    """

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
    work: "Work | None" = None

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
    """What is asked of many farms at once: levels, the last results, and which places were known to be over."""

    times: float
    levels: Mapping[UUID, "FarmLevels"]
    before: Mapping[tuple[UUID, UUID | None, str], Assessment]
    over: Collection[tuple[UUID, UUID | None, str]]


def midweek_of(run: "CheckRun", since: datetime, now: datetime) -> list[Midweek]:
    """The farms of a judged week's group whose rounds since, of the week after it, found something sharply over.

    Those that had this week's mail are left out.
    """
    today, week = local_date(now, run.group.time_zone), run.week + WEEK
    rules = rules_of_group(run.group_id, today)
    if not rules.is_on(Rule.OVER) or week != monday_of(today):
        return []
    look = _Look(run, today, now - OLDEST, rules.number(Rule.OVER, "sharply"))
    farms = _farms(look, farms_received_since(run.group_id, week, since))
    crossed: dict[UUID, list[Crossed]] = defaultdict(list)
    for farm_id, each in _of_running_week(look, list(farms)):
        crossed[farm_id].append(each)
    works = last_works(list(crossed), today)
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
        known = _known(look, list(fresh))
        yield from ((own, each) for own, readings in fresh.items() for each in _crossed(own, readings, known))


def _is_fresh(reading: "Reading", look: _Look) -> bool:
    return _week_of(reading) == look.run.week + WEEK and reading.round.walked_on >= look.today - OLDEST


def _known(look: _Look, farm_ids: Sequence[UUID]) -> _Known:
    results = assessments_of_farms(farm_ids, look.run.week, look.run.week)
    alerts = Alert.objects.filter(farm_id__any_of=array_of(farm_ids), rule=Rule.OVER, closed_at__isnull=True)
    before = {(row.farm_id, row.facility_id, row.method): row for row in results}
    return _Known(
        times=look.times,
        levels=levels_of_farms(look.run.group_id, farm_ids, look.today),
        before=before,
        over={
            *alerts.values_list("farm_id", "facility_id", "method"),
            *(place for place, row in before.items() if row.result == LevelWord.OVER),
        },
    )


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
            found.append(Crossed(_last_walked(readings, place), result, low, high, known.before.get(known_as)))
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
