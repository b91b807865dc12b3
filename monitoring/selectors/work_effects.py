"""Did a work help? The farm's own counts before and after it, against its facilities where nothing was done."""

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from functools import cached_property
from uuid import UUID

import numpy as np
from numpy.typing import NDArray

from farms.clock import monday_of
from farms.models import Farm
from monitoring.analysis.rates import Readings, StationWeeks, station_weeks
from monitoring.analysis.shapes import Bools, Floats, Ints
from monitoring.analysis.work_effect import work_effects
from monitoring.arrays import CheckArrays, readings_for_check
from monitoring.methods import METHODS
from monitoring.models import Work
from monitoring.selectors.temperatures import FarmDays, temperatures_of_farms
from monitoring.selectors.work_windows import GENERATION, LOOK_AHEAD, LOOK_BACK, Timeline, Window, window_of

# Weeks counted from the work: four before, and six after the longest settling, a generation of flies.
COLUMNS = np.arange(-(LOOK_BACK // timedelta(weeks=1)), (GENERATION + LOOK_AHEAD) // timedelta(weeks=1) + 1)
# Works further back than this can be what still moves the counts before one.
PROGRAMMES = timedelta(weeks=26)
# Mean highest temperature of the weeks after. [degrees Celsius] The first is our own choice; below the second stable
# flies stop feeding (a review, Animals 2023, 13(24), 3847).
HOT, COLD = 35.0, 15.0
NO_COMPARISON, TOO_EARLY, TOO_FEW = "no_comparison", "too_early", "too_few"
OVERTAKEN, NOT_COUNTED, NOTHING_CAUGHT = "overtaken", "not_counted", "nothing_caught"
REASONS = ("", NO_COMPARISON, TOO_EARLY, TOO_FEW, OVERTAKEN, NOT_COUNTED, NOTHING_CAUGHT)


@dataclass(frozen=True)
class WorkEffect:
    """What became of the counts after one work, told from one method (None where nothing is counted there).

    `ratio` is what is left of what was to be expected (0.5 = half), with its 95 % interval; None where nothing can be
    told. `compared_with` are the facilities that it was compared with; with `reason` "no_comparison" it is before and
    after alone. Other reasons say why there is none. `until`: the day of a later work that ended what is looked at.
    `weather` is "hot" or "cold" where the weeks after were, which keeps counts low by itself.
    """

    reason: str
    method: str | None = None
    ratio: float | None = None
    low: float | None = None
    high: float | None = None
    compared_with: tuple[UUID, ...] = ()
    weeks_before: int = 0
    weeks_after: int = 0
    until: date | None = None
    weather: str = ""
    at_least: bool = False

    @property
    def change(self) -> float | None:
        """The same as `ratio` in per cent, to a tenth: -50.0 is half."""
        return _percent(self.ratio)

    @property
    def change_low(self) -> float | None:
        return _percent(self.low)

    @property
    def change_high(self) -> float | None:
        return _percent(self.high)


def _percent(ratio: float | None) -> float | None:
    return None if ratio is None else round(100 * (ratio - 1), 1)


def effects_of_works(works: Sequence[Work], farms: Sequence[Farm], on: date) -> dict[UUID, WorkEffect]:
    """The effect of each work, by its id, as it can be told on a day. Four queries, however many works and farms.

    The result rests on the first method with stations where the work was done that has one with a comparison, else
    without: cards before traps before legs, whatever they say.
    """
    if not works:
        return {}
    seen = _Seen.of(works, farms, on)
    by_work: dict[UUID, list[WorkEffect]] = {work.id: [] for work in works}
    for row, effect in zip(seen.rows, seen.effects(), strict=True):
        by_work[row.window.work.id].append(effect)
    return {work_id: _first_with_a_result(effects) for work_id, effects in by_work.items()}


def _first_with_a_result(effects: Sequence[WorkEffect]) -> WorkEffect:
    return min(effects, key=lambda effect: REASONS.index(effect.reason), default=WorkEffect(NOT_COUNTED))


@dataclass(frozen=True)
class _Row:
    """One work and method: the stations that speak of it, as places in the arrays, and where they stand."""

    window: Window
    method: str
    farm: int
    stations: Ints
    treated: Bools


@dataclass(frozen=True)
class _Seen:
    """The works with all that is known of their farms around them."""

    arrays: CheckArrays
    temperatures: FarmDays
    first: date
    rows: tuple[_Row, ...]

    @classmethod
    def of(cls, works: Sequence[Work], farms: Sequence[Farm], on: date) -> "_Seen":
        ids = [farm.id for farm in farms]
        windows = _windows(works, ids, on)
        first = min(window.begins for window, _method in windows)
        arrays = readings_for_check(ids, monday_of(first), monday_of(on))
        facility = np.array([place.int for place in arrays.facility_ids], np.object_)[arrays.station_facility]
        rows = (_row(arrays, facility, window, method) for window, method in windows)
        temperatures = temperatures_of_farms(farms, first, on)
        return cls(arrays, temperatures, first, tuple(row for row in rows if row.treated.any()))

    def effects(self) -> Iterator[WorkEffect]:
        """Each row's effect, in their order."""
        if not self.rows:
            return
        grid, shape = self._grid, (len(self.rows), self._size, len(COLUMNS))
        treated = np.zeros(shape[:2], np.bool_)
        for number, row in enumerate(self.rows):
            treated[number, : row.treated.size] = row.treated
        counted = grid.counted.reshape(shape)
        found = work_effects(counted, grid.effort.reshape(shape), treated, COLUMNS)
        interval, at_least = found.interval(), np.asarray(grid.at_least.reshape(shape).any(axis=(1, 2)), np.bool_)
        both = _before_and_after(counted)
        for number, row in enumerate(self.rows):
            reason = _reason(str(found.reason[number]), row.window, compared=bool(found.compared[number]))
            until = row.window.ends if row.window.cut_short else None
            effect = WorkEffect(reason, row.method, until=until)
            if reason in ("", NO_COMPARISON):
                effect = replace(
                    effect,
                    ratio=float(found.ratio[number]),
                    low=float(interval.low[number]),
                    high=float(interval.high[number]),
                    compared_with=() if reason else self._elsewhere(row, both[number, : row.stations.size]),
                    weeks_before=int(found.weeks_before[number]),
                    weeks_after=int(found.weeks_after[number]),
                    weather=self._weather(row),
                    at_least=bool(at_least[number]),
                )
            yield effect

    @property
    def _size(self) -> int:
        return max(row.stations.size for row in self.rows)

    @cached_property
    def _grid(self) -> StationWeeks:
        """The counts of all works: a row a work, method and station, a column a week from the work on."""
        parts = [self._readings_of(row) for row in self.rows]
        reading = np.concatenate([reading for reading, _place, _week in parts])
        place = np.concatenate([place + number * self._size for number, (_reading, place, _week) in enumerate(parts)])
        arrays = self.arrays
        columns = Readings(
            station=place,
            week=np.concatenate([week for _reading, _place, week in parts]) - COLUMNS[0],
            middle=arrays.middle[reading],
            # Legs that were sprayed or cold are kept elsewhere and never called a fall.
            count=np.where(arrays.cold | arrays.sprayed, np.nan, arrays.count)[reading],
            part=arrays.fraction[reading],
            exposure=arrays.exposure[reading],
            at_least=arrays.at_least[reading],
            how=arrays.how[reading],
        )
        return station_weeks(columns, n_stations=len(self.rows) * self._size, n_weeks=len(COLUMNS))

    def _readings_of(self, row: _Row) -> tuple[Ints, Ints, Ints]:
        """The readings that speak of a row's work, their station's place in the row, and their week from the work."""
        place = np.full(len(self.arrays.station_id), -1, np.int64)
        place[row.stations] = np.arange(row.stations.size)
        mine = np.flatnonzero((place[self.arrays.station] >= 0) & ~np.isnan(self.arrays.count))
        after, speaks = _days_after(self.arrays, mine, row)
        # Days 1 to 7 before are week -1, days 0 to 6 after week 0.
        return mine[speaks], place[self.arrays.station[mine[speaks]]], after[speaks] // 7

    def _elsewhere(self, row: _Row, both: Bools) -> tuple[UUID, ...]:
        """The facilities whose counts before and after stand for what was to be expected."""
        others = (
            self.arrays.facility_ids[self.arrays.station_facility[each]] for each in row.stations[both & ~row.treated]
        )
        return tuple(dict.fromkeys(others))

    def _weather(self, row: _Row) -> str:
        window = row.window
        first, last = ((day - self.first).days for day in (window.day + window.settles, window.ends))
        highest = self.temperatures.temperatures.highest[self.temperatures.place[row.farm], first : last + 1]
        if 2 * (~np.isnan(highest)).sum() <= highest.size:
            return ""
        mean = float(np.nanmean(highest))
        return "hot" if mean >= HOT else "cold" if mean < COLD else ""


def _before_and_after(counted: Floats) -> Bools:
    """Mark the stations (n_rows, n_stations) with a count on either side of the work."""
    before, after = ((~np.isnan(counted[:, :, side])).any(axis=2) for side in (COLUMNS < 0, COLUMNS >= 0))
    return np.asarray(before & after, np.bool_)


def _windows(works: Sequence[Work], farm_ids: Sequence[UUID], on: date) -> list[tuple[Window, str]]:
    """A window for each work and method, between all other works of its farm."""
    since, standing = min(work.done_on for work in works) - PROGRAMMES, Work.objects.standing()
    known = {work.id: work for work in (*standing.filter(farm_id__in=farm_ids, done_on__range=(since, on)), *works)}
    of_farm: dict[UUID, list[Work]] = defaultdict(list)
    for each in known.values():
        of_farm[each.farm_id].append(each)
    farms = {farm_id: Timeline.of(found) for farm_id, found in of_farm.items()}
    return [(window_of(work, method, farms[work.farm_id], on), method) for work in works for method in METHODS]


def _row(arrays: CheckArrays, facility: NDArray[np.object_], window: Window, method: str) -> _Row:
    """The stations of a method on the work's farm, without those where something else was done meanwhile."""
    farm, where = arrays.farm_ids.index(window.work.farm_id), window.work.facility_id
    of_method = np.flatnonzero((arrays.station_farm == farm) & (arrays.station_method == method))
    stays = ~np.isin(facility[of_method], [place.int for place in window.worked_elsewhere])
    stations = of_method[stays]
    treated = np.full(stations.size, fill_value=True) if where is None else facility[stations] == where.int
    return _Row(window, method, farm, stations, np.asarray(treated, np.bool_))


def _days_after(arrays: CheckArrays, readings: Ints, row: _Row) -> tuple[Ints, Bools]:
    """How many days after the work the middle of each exposure lies, and whether it speaks of before or after.

    What hung across the work's day speaks of neither, nor does what was counted before flies had settled.
    """
    window, hangs = row.window, METHODS[row.method].hangs
    day = np.datetime64(window.day)
    middle = (arrays.middle[readings] - day).astype(np.int64)
    days = arrays.exposure[readings].astype(np.int64) if hangs else np.zeros(readings.size, np.int64)
    hung = middle - days // 2
    taken = hung + days
    before = (hung >= (window.begins - window.day).days) & (taken <= (0 if hangs else -1)) & (middle < 0)
    after = (hung >= 0) & (middle >= window.settles.days) & (taken <= (window.ends - window.day).days)
    return middle, before | after


def _reason(found: str, window: Window, *, compared: bool) -> str:
    if found == "":
        return "" if compared else NO_COMPARISON
    if found == NOTHING_CAUGHT:
        return NOTHING_CAUGHT
    if found == "too_few_before":
        return TOO_FEW
    if window.is_early:
        return TOO_EARLY
    return OVERTAKEN if window.cut_short else TOO_FEW
