"""The rules that are a yes or no each week, for all farms and methods at once, with what each yes rests on."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any

import numpy as np

from alerts.checks.figures import Figures
from alerts.checks.grid import Grid, Owners
from alerts.checks.occasion import Occasion
from alerts.checks.outlook import Outlook, WeeksByMethod
from alerts.checks.rules import few_animals, hot_station, jump, missing_twice, siting, soon
from alerts.models.alert import ClosedBecause, Rule
from alerts.models.assessment import LevelWord
from monitoring.analysis.correlated_weeks import PRINTED
from monitoring.analysis.shapes import Bools, Ints
from monitoring.analysis.week_scores import score_newest


@dataclass(frozen=True)
class Ending:
    """How a rule of this kind ends: after how many counted weeks in which it was not met, and as what."""

    weeks: int
    because: ClosedBecause


# In this order each is a bit of `Signals.met` and `Signals.known`.
ENDINGS: Mapping[str, Ending] = {
    Rule.SOON.value: Ending(soon.COUNTED_WEEKS_QUIET, ClosedBecause.NO_LONGER_LIKELY),
    Rule.HOT_STATION.value: Ending(hot_station.COUNTED_WEEKS_QUIET, ClosedBecause.NO_LONGER_APART),
    Rule.JUMP.value: Ending(jump.COUNTED_WEEKS_QUIET, ClosedBecause.LIKE_ITS_PAST),
    Rule.MISSING_TWICE.value: Ending(missing_twice.COUNTED_WEEKS_QUIET, ClosedBecause.COUNTED_AGAIN),
    Rule.SITING.value: Ending(siting.COUNTED_WEEKS_QUIET, ClosedBecause.PUT_RIGHT),
    Rule.FEW_ANIMALS.value: Ending(few_animals.COUNTED_WEEKS_QUIET, ClosedBecause.ENOUGH_ANIMALS),
}
BITS = {rule: 1 << place for place, rule in enumerate(ENDINGS)}
Detail = Callable[[int], dict[str, Any]]


@dataclass(frozen=True)
class Signals:
    """What these rules say of each owner (a farm and method): (n_owners,) numbers with a bit a rule (`BITS`).

    `met`: yes; `known`: whether this week can say so at all. `details` gives, by rule, what an owner's yes rests on.
    """

    met: Ints
    known: Ints
    details: Mapping[str, Detail]

    def evidence(self, owner: int) -> dict[str, dict[str, Any]]:
        """By rule, what each yes of an owner rests on."""
        met = int(self.met[owner])
        return {rule: detail(owner) for rule, detail in self.details.items() if met & BITS[rule]}


@dataclass(frozen=True)
class Told:
    """One rule's answer: `met` and `known` (n_owners,), and what a yes rests on."""

    met: Bools
    known: Bools
    detail: Detail


def signals_of(grid: Grid, figures: Figures, outlook: Outlook, weeks: WeeksByMethod, occasion: Occasion) -> Signals:
    """Ask every rule of this kind that is on in the group."""
    asked: dict[str, Callable[[], Told]] = {
        Rule.SOON.value: partial(_soon, figures, outlook, occasion),
        Rule.HOT_STATION.value: partial(_hot_station, grid, figures, occasion),
        Rule.JUMP.value: partial(_jump, figures, weeks, occasion),
        Rule.MISSING_TWICE.value: partial(_missing_twice, grid, figures),
        Rule.SITING.value: partial(_siting, grid, figures.owners, occasion),
        Rule.FEW_ANIMALS.value: partial(_few_animals, figures, occasion),
    }
    met, known = (np.zeros(len(figures.owners), np.int64) for _ in range(2))
    details: dict[str, Detail] = {}
    for rule, ask in asked.items():
        if occasion.rules.is_on(rule):
            told = ask()
            met |= (told.met & told.known) * BITS[rule]
            known |= told.known * BITS[rule]
            details[rule] = told.detail
    return Signals(met, known, details)


def _counted(figures: Figures) -> Bools:
    return ~np.isnan(figures.mean)


def _soon(figures: Figures, outlook: Outlook, occasion: Occasion) -> Told:
    within = occasion.rules.number(Rule.SOON, "weeks")
    met = soon.met(outlook.crossing, outlook.crossing_weeks, within) & (figures.word != LevelWord.OVER.value)

    def detail(owner: int) -> dict[str, Any]:
        level, mean = float(figures.level[owner]), float(figures.mean[owner])
        return {"mean": mean, "level": level, "weeks": int(outlook.crossing_weeks[owner])}

    return Told(met, _counted(figures) & (outlook.reason == ""), detail)


def _hot_station(grid: Grid, figures: Figures, occasion: Occasion) -> Told:
    k = np.full(len(figures.owners), PRINTED.k)
    for method, borrowed in occasion.borrowed.items():
        if borrowed.scatter is not None:
            k[figures.owners.method == method] = borrowed.scatter.k
    found = hot_station.apart(grid.judged_week, figures.hot, k)
    met = hot_station.met(found, figures.hot, occasion.rules.number(Rule.HOT_STATION, "times"))

    def detail(owner: int) -> dict[str, Any]:
        top = int(figures.hot.top[owner])
        return _station(grid, top) | {
            "rate": float(found.rate[owner]),
            "others": float(found.others[owner]),
            "weeks_at_top": int(figures.hot.weeks_at_top[top]),
        }

    return Told(met, ~np.isnan(found.rate), detail)


def _jump(figures: Figures, weeks: WeeksByMethod, occasion: Occasion) -> Told:
    score, expected = (np.full(len(figures.owners), np.nan) for _ in range(2))
    for method, (rows, some) in weeks.items():
        scores = score_newest(some, occasion.borrowed[method].scatter)
        score[rows], expected[rows] = scores.score, scores.expected
    met = jump.met(score, occasion.rules.number(Rule.JUMP, "chance"))

    def detail(owner: int) -> dict[str, Any]:
        return {"mean": float(figures.mean[owner]), "expected": float(np.exp(expected[owner]))}

    return Told(met, ~np.isnan(score), detail)


def _missing_twice(grid: Grid, figures: Figures) -> Told:
    weeks, owners = grid.station_weeks, figures.owners
    twice = missing_twice.met(weeks.devices, weeks.missing)

    def detail(owner: int) -> dict[str, Any]:
        return {"stations": _stations(grid, twice & (owners.of_station == owner))}

    looked_for = (weeks.devices + weeks.missing)[:, -1] > 0
    return Told(_any(twice, owners), _any(looked_for, owners), detail)


def _siting(grid: Grid, owners: Owners, occasion: Occasion) -> Told:
    arrays, hangs = grid.arrays, owners.hangs[owners.of_station]
    wind = siting.in_wind(arrays.station_windy, hangs, grid.in_use)
    reach = siting.not_out_of_reach(arrays.station_method, arrays.station_reach, grid.in_use)
    few = _few_in_a_unit(grid, owners, occasion)

    def detail(owner: int) -> dict[str, Any]:
        mine = owners.of_station == owner
        units = np.unique(arrays.station_facility[few & mine]).tolist()
        hung = [int(np.sum(grid.in_use & mine & (arrays.station_facility == unit))) for unit in units]
        return {
            "few": [
                {"facility": str(arrays.facility_ids[unit]), "devices": number}
                for unit, number in zip(units, hung, strict=True)
            ],
            "reach": _stations(grid, reach & mine),
            "wind": _stations(grid, wind & mine),
        }

    return Told(_any(wind | reach | few, owners), owners.in_use, detail)


def _few_in_a_unit(grid: Grid, owners: Owners, occasion: Occasion) -> Bools:
    """(n_stations,) -- those of housing units in which fewer hang than should."""
    arrays, places = grid.arrays, grid.facility_owners
    hung = np.bincount(places.of_station, grid.in_use, minlength=len(places)).astype(np.int64)
    housing = np.bincount(places.of_station, arrays.station_housing, minlength=len(places)) > 0
    few = siting.too_few(hung, housing, places.hangs, occasion.rules.number(Rule.SITING, "devices"))
    return np.asarray(few[places.of_station], np.bool_)


def _few_animals(figures: Figures, occasion: Occasion) -> Told:
    owners, animals = figures.owners, figures.animals
    met = few_animals.met(animals, owners.hangs, occasion.rules.number(Rule.FEW_ANIMALS, "animals"))
    return Told(met, ~owners.hangs & (animals > 0), lambda owner: {"animals": int(animals[owner])})


def _any(stations: Bools, owners: Owners) -> Bools:
    """Whether any of each owner's stations is marked."""
    return np.asarray(np.bincount(owners.of_station, stations, minlength=len(owners)) > 0, np.bool_)


def _stations(grid: Grid, which: Bools) -> Sequence[dict[str, Any]]:
    """The marked stations, by number."""
    return sorted((_station(grid, each) for each in np.flatnonzero(which).tolist()), key=lambda row: row["number"])


def _station(grid: Grid, station: int) -> dict[str, Any]:
    arrays = grid.arrays
    return {
        "station": arrays.station_id.text(station),
        "number": int(arrays.station_number[station]),
        "facility": str(arrays.facility_ids[arrays.station_facility[station]]),
    }
