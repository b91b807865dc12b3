"""Which stations of a farm are truly the worst, beside its others: from its own counts of the last eight weeks."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import TYPE_CHECKING
from uuid import UUID

import numpy as np

from alerts.selectors.farm_counts import FarmCounts, MethodCounts, counts_of_farms
from alerts.selectors.farm_weeks import FarmWeek
from farms.kept import content_of, kept
from monitoring.analysis.farm_weeks import WINDOW_WEEKS
from monitoring.analysis.hot_station import hot_stations, question_on_the_spot
from monitoring.analysis.shapes import Ints, Words
from monitoring.analysis.station_effects import WEEKS, StationEffects, station_effects

if TYPE_CHECKING:
    from farms.models import Farm

WEEK = timedelta(weeks=1)
# From here on a station is asked about: three chances in four.
ASKED_FROM = 0.75


@dataclass(frozen=True)
class StationEffect:
    """One station beside its farm's others of the same method; see `monitoring.analysis.station_effects`.

    `times` is how many times the farm's usual station it has, with the ends of a 95 % interval `low` and `high`;
    `among_worst` the probability of being among the `worst` highest of `stations`, `highest` that of being the highest.
    None where `reason` is not "": then nothing can be told, and `reason` says why ("not_counted" for a station without
    a count in these weeks, else as there). `weeks_at_top` is how many counted weeks in a row, up to this one, it had
    the highest count; `question` what its siting makes one ask, "" where there is no reason to ask.
    """

    station_id: UUID
    facility_id: UUID
    method: str
    number: int
    times: float | None
    low: float | None
    high: float | None
    among_worst: float | None
    highest: float | None
    worst: int
    stations: int
    weeks_counted: int
    weeks_at_top: int
    question: str
    reason: str


def effects_of_stations(farms: "Sequence[Farm]", week: date) -> dict[UUID, list[StationEffect]]:
    """The stations of farms of one group that stood in a week (its Monday), by farm; one read for all."""
    if not farms:
        return {}
    return effects_in(counts_of_farms(farms, week - (WINDOW_WEEKS - 1) * WEEK, week), week)


def effects_in(counts: FarmCounts, week: date) -> dict[UUID, list[StationEffect]]:
    """The same from counts that were read already, of twelve weeks or more up to that week."""
    seen = counts.of_last(WINDOW_WEEKS)
    found: dict[UUID, list[StationEffect]] = {farm_id: [] for farm_id in seen.arrays.farm_ids}
    until = seen.arrays.station_until
    stands = np.isnat(until) | (until >= np.datetime64(week, "D"))
    questions = question_on_the_spot(seen.arrays.station_windy, seen.arrays.station_near)
    for method in seen.methods:
        at_top = _weeks_at_top(seen, method)
        effects = _effects(method)
        for row, farm_id in enumerate(method.farms):
            for place, station in enumerate(method.station[row].tolist()):
                if station >= 0 and stands[station]:
                    told = _told(seen, method, effects, (row, place))
                    found[farm_id].append(
                        _with_question(replace(told, weeks_at_top=int(at_top[station])), questions, station)
                    )
    return found


def _effects(method: MethodCounts) -> StationEffects:
    last = slice(-WEEKS, None)
    counts, days, k, at_least = (
        method.counts[:, :, last], method.days[:, :, last], method.k[:, :, last], method.at_least[:, :, last],
    )  # fmt: skip
    if len(method.farms) > 1:  # a whole group's, once a week
        return station_effects(counts, days, k, at_least)
    content = content_of(counts, days, k, at_least)
    return kept(("station effects", content), lambda: station_effects(counts, days, k, at_least))


def with_station_effects(weeks: Sequence[FarmWeek]) -> list[FarmWeek]:
    """The weeks, all the same one and of farms of one group, with the stations of those that say where to look."""
    looked_at = [week for week in weeks if week.over or week.rising]
    effects = effects_of_stations([week.farm for week in looked_at], looked_at[0].week) if looked_at else {}
    return [replace(week, stations=by_station(effects.get(week.farm.id, ()))) for week in weeks]


def by_station(effects: Sequence[StationEffect]) -> Mapping[UUID, StationEffect]:
    return {effect.station_id: effect for effect in effects}


def _weeks_at_top(seen: FarmCounts, method: MethodCounts) -> Ints:
    """For every station of the arrays how long it has been at the top of its farm and method."""
    owner = np.full(len(seen.arrays.station_id), len(method.farms), np.int64)
    rows, places = np.nonzero(method.station >= 0)
    owner[method.station[rows, places]] = rows
    return hot_stations(seen.weeks, owner, len(method.farms) + 1, week=seen.weeks.rate.shape[1] - 1).weeks_at_top


def _told(seen: FarmCounts, method: MethodCounts, effects: StationEffects, at: tuple[int, int]) -> StationEffect:
    station = int(method.station[at])
    reason = str(effects.reason[at[0]])
    known = not np.isnan(effects.effect[at])
    low, high = effects.interval()

    def number(value: float) -> float | None:
        return float(value) if known else None

    return StationEffect(
        station_id=seen.arrays.station_id[station],
        facility_id=seen.arrays.facility_ids[seen.arrays.station_facility[station]],
        method=method.method,
        number=int(seen.arrays.station_number[station]),
        times=number(np.exp(effects.effect[at])),
        low=number(np.exp(low[at])),
        high=number(np.exp(high[at])),
        among_worst=number(effects.among_worst[at]),
        highest=number(effects.highest[at]),
        worst=int(effects.worst[at[0]]),
        stations=int((~np.isnan(effects.effect[at[0]])).sum()),
        weeks_counted=int(effects.weeks_counted[at]),
        weeks_at_top=0,
        question="",
        reason=reason if reason or known else "not_counted",
    )


def _with_question(effect: StationEffect, questions: Words, station: int) -> StationEffect:
    asked = effect.among_worst is not None and effect.among_worst >= ASKED_FROM
    return replace(effect, question=str(questions[station]) if asked else "")
