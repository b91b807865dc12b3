"""Work done as pages list it: what became of the counts after each, in words, and from what it is told."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING, Any
from uuid import UUID

from alerts.selectors import assessments_of
from alerts.wording.counts_needed import needed_sentence
from alerts.wording.works import back_phrase, how_told, since_then
from farms.clock import monday_of
from farms.selectors import facilities_of
from monitoring.analysis.efficacy import rebound_time
from monitoring.selectors.deeds import deed_of_application, deeds_of_farms
from monitoring.selectors.work_effects import PROGRAMMES, WorkEffect, effects_of_deeds, effects_of_works

if TYPE_CHECKING:
    from alerts.models import Assessment
    from monitoring.models import Work

WEEK = timedelta(weeks=1)
RISING = "rising"


@dataclass(frozen=True)
class WorkLine:
    """One work with the sentences of what followed.

    `told_from` says from which counts, empty where nothing is told; `needed` what would tell more, if anything.
    """

    work: "Work"
    since: tuple[str, ...]
    told_from: str = ""
    needed: str = ""


@dataclass(frozen=True)
class SinceThen:
    """What became of the counts after something, in sentences."""

    told: tuple[str, ...]
    told_from: str = ""
    needed: str = ""


def since_application(farm: Any, row: Any, today: date) -> SinceThen:
    """What became of the counts after an application, told as after any work."""
    deed = deed_of_application(row, farm.time_zone)
    known = deeds_of_farms([farm.id], deed.begins_on - PROGRAMMES, today)
    effect = effects_of_deeds([deed], [farm], today, known=known)[deed.id]
    facilities = {place.id: place for place in facilities_of(farm)}
    return SinceThen(tuple(since_then(effect, facilities)), how_told(effect), needed_sentence(effect))


def work_lines(
    farm: Any, works: Sequence["Work"], today: date, facilities: Mapping[UUID, Any] | None = None
) -> list[WorkLine]:
    """The works in their order, each with its effect as it can be told today. `facilities`: the farm's, where read."""
    effects = effects_of_works(works, [farm], today)
    facilities = {place.id: place for place in facilities_of(farm)} if facilities is None else facilities
    growth = _growth_before(farm, works)
    return [_line(work, effects[work.id], facilities, growth) for work in works]


def _line(work: "Work", effect: WorkEffect, facilities: Mapping[UUID, Any], growth: dict[Any, float]) -> WorkLine:
    back = _back(effect, growth.get((work.id, effect.method)))
    return WorkLine(work, (*since_then(effect, facilities), *back), how_told(effect), needed_sentence(effect))


def _growth_before(farm: Any, works: Sequence["Work"]) -> dict[Any, float]:
    """How fast a method's counts rose in the last week judged before each work, by (work, method); only clear rises."""
    if not works:
        return {}
    since = monday_of(min(work.done_on for work in works)) - 2 * WEEK
    rising: list[Assessment] = [
        row for row in assessments_of(farm, since) if row.facility_id is None and row.trend == RISING and row.growth
    ]
    # Oldest first, so that the last one before the work stays.
    return {
        (work.id, row.method): float(row.growth or 0.0)
        for work in works
        for row in rising
        if timedelta(0) < work.done_on - row.week <= 2 * WEEK
    }


def _back(effect: WorkEffect, growth: float | None) -> list[str]:
    """When counts would be back, where a clear fall followed a clear rise."""
    if effect.ratio is None or effect.high is None or effect.high >= 1 or growth is None:
        return []
    found = rebound_time(1 - effect.ratio, growth)
    told = back_phrase(7 * float(found.time)) if found.reason == "" else ""
    return [told] if told else []
