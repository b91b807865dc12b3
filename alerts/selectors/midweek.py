"""What crossed its action level sharply between two Mondays, by the rounds received since a week was judged.

The plain comparison of a round, as its page shows it, with a margin: a mean that wobbles about its level must never
make a mail. A round of a week that is judged already has that week judged again, and is told on Monday.
"""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING
from uuid import UUID

import numpy as np

from alerts.models import Alert, Assessment, CheckFailure
from alerts.models.alert import Rule
from alerts.models.assessment import LevelWord
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
    newest_rounds_received,
    readings_of_round,
    round_ranges,
    round_result,
)

if TYPE_CHECKING:
    from alerts.levels import FarmLevels
    from alerts.models import CheckRun
    from farms.models import Farm
    from monitoring.models import Reading, Round, Work

WEEK = timedelta(days=7)
OLDEST = timedelta(days=3)  # of a round; older ones are Monday's, so that no flood follows an outage
Place = tuple[UUID, str]


@dataclass(frozen=True)
class Crossed:
    """A facility's result sharply over its level, its range, and what the week that was judged last said there."""

    result: FacilityResult
    low: float
    high: float | None
    before: Assessment | None


@dataclass(frozen=True)
class Midweek:
    """A farm with something sharply over its level: the round that found it, its running week, the last work noted."""

    farm: "Farm"
    week: date
    walked_on: date
    crossed: Sequence[Crossed]
    work: "Work | None" = None


@dataclass(frozen=True)
class _Known:
    """What is asked of every farm at once: levels, the last results, and where a matter over the level is open."""

    week: date
    times: float
    levels: Mapping[UUID, "FarmLevels"]
    before: Mapping[tuple[UUID, UUID | None, str], Assessment]
    is_open: Collection[tuple[UUID, UUID | None, str]]


def midweek_of(run: "CheckRun", since: datetime, now: datetime) -> list[Midweek]:
    """The farms of a judged week's group whose rounds since, of the week after it, found something sharply over."""
    today, week = local_date(now, run.group.time_zone), run.week + WEEK
    rules = rules_of_group(run.group_id, today)
    if not rules.is_on(Rule.OVER) or week != monday_of(today):
        return []
    farms = _farms(run, since, today)
    rounds = newest_rounds_received(list(farms), now - OLDEST, after=run.week)
    fresh = {farm_id: walked for farm_id, walked in rounds.items() if walked.walked_on >= today - OLDEST}
    if not fresh:
        return []
    known = _known(run, list(fresh), today, rules.number(Rule.OVER, "sharply"))
    works = last_works(list(fresh), today)
    looked_at = ((farms[own], walked, _crossed(farms[own], walked, known)) for own, walked in fresh.items())
    return [
        Midweek(farm, week, walked.walked_on, crossed, works.get(farm.id))
        for farm, walked, crossed in looked_at
        if crossed
    ]


def _farms(run: "CheckRun", since: datetime, today: date) -> dict[UUID, "Farm"]:
    """The farms of which counts of the running week came in since, in season today, and not set aside by the check."""
    received = array_of(farms_received_since(run.group_id, run.week + WEEK, since))
    failed = CheckFailure.objects.filter(week=run.week, solved_at__isnull=True).values("farm_id")
    farms = farms_of_group(run.group_id).filter(in_season(today, today), id__any_of=received)
    return {farm.id: farm for farm in farms.exclude(id__in=failed)}


def _known(run: "CheckRun", farm_ids: Sequence[UUID], today: date, times: float) -> _Known:
    results = assessments_of_farms(farm_ids, run.week, run.week)
    alerts = Alert.objects.filter(farm_id__any_of=array_of(farm_ids), rule=Rule.OVER, closed_at__isnull=True)
    return _Known(
        week=run.week + WEEK,
        times=times,
        levels=levels_of_farms(run.group_id, farm_ids, today),
        before={(row.farm_id, row.facility_id, row.method): row for row in results},
        is_open=set(alerts.values_list("farm_id", "facility_id", "method")),
    )


def _crossed(farm: "Farm", walked: "Round", known: _Known) -> list[Crossed]:
    """What is sharply over, the furthest first."""
    readings = [each for each in readings_of_round(farm, walked.id) if _week_of(each) == known.week]
    levels = known.levels[farm.id]
    results = round_result(farm, readings, lambda method, facility_id: levels.of(method, facility_id).value)
    over = [result for result in results if result.mean is not None and _is_sharp(result, known.times)]
    if not over:
        return []
    ranges = round_ranges(readings)
    found = (_with_range(farm, result, ranges, known) for result in over)
    return sorted((each for each in found if each is not None), key=lambda each: -_times_over(each.result))


def _with_range(
    farm: "Farm", result: FacilityResult, ranges: Mapping[Place, tuple[float | None, float | None]], known: _Known
) -> Crossed | None:
    """The result with its range, unless that reaches the level, or it was known to be over."""
    low, high = ranges[result.facility.id, result.method.code]
    place = (farm.id, result.facility.id, result.method.code)
    before = known.before.get(place)
    if low is None or low <= (result.level or 0.0) or place in known.is_open:
        return None
    if before is not None and before.result == LevelWord.OVER:
        return None
    return Crossed(result, low, high, before)


def _is_sharp(result: FacilityResult, times: float) -> bool:
    return result.word == LevelWord.OVER and _times_over(result) >= times


def _times_over(result: FacilityResult) -> float:
    """Mean over action level; a level of zero is no measure of it."""
    return result.mean / result.level if result.mean is not None and result.level else 0.0


def _week_of(reading: "Reading") -> date:
    hung, taken = np.datetime64(reading.hung_on or reading.taken_on), np.datetime64(reading.taken_on)
    week: date = week_of_exposure(np.array([hung]), np.array([taken]))[0].item()
    return week
