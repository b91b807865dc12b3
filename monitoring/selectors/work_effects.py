"""Did a work help? The farm's own counts before and after it, against its facilities where nothing was done."""

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from functools import cached_property
from uuid import UUID

import numpy as np

from farms.clock import monday_of
from farms.models import Farm
from monitoring.analysis.counts_needed import counts_needed
from monitoring.analysis.rates import Readings, StationWeeks, station_weeks
from monitoring.analysis.shapes import Bools, Floats, Ints
from monitoring.analysis.work_effect import K_OF_WEIGHTS, Outside, RatioInterval, WorkEffects, work_effects
from monitoring.arrays import CheckArrays, readings_for_check
from monitoring.models import Work
from monitoring.selectors.deeds import Deed, deeds_of_farms
from monitoring.selectors.last_done import Done
from monitoring.selectors.region_weeks import region_weeks
from monitoring.selectors.temperatures import FarmDays, temperatures_of_farms
from monitoring.selectors.work_rows import COLUMNS, DeedRow, days_after, iso_weeks, kinds_of, row_of, windows_of
from monitoring.selectors.work_windows import LOOK_BACK, Window

# Works further back than this can be what still moves the counts before one.
PROGRAMMES = timedelta(weeks=26)
# Mean highest temperature of the weeks after. [degrees Celsius] The first is our own choice; below the second stable
# flies stop feeding (a review, Animals 2023, 13(24), 3847).
HOT, COLD = 35.0, 15.0
# A station of which nothing is known yet catches so many a week.
USUAL_CATCH = 40.0
# A change seen that is smaller than by a third says little of what is to be told: then a half is reckoned with.
WORTH_TELLING = float(np.log(1.5))
HALF = float(np.log(2.0))
NO_COMPARISON, TOO_EARLY, TOO_FEW = "no_comparison", "too_early", "too_few"
OVERTAKEN, NOT_COUNTED, NOTHING_CAUGHT = "overtaken", "not_counted", "nothing_caught"
TOGETHER, FEW_CAUGHT, NO_OTHER_PLACE = "together", "few_caught", "no_other_place"
REASONS = (
    "", NO_COMPARISON, TOGETHER, TOO_EARLY, NO_OTHER_PLACE, FEW_CAUGHT, TOO_FEW, OVERTAKEN, NOT_COUNTED, NOTHING_CAUGHT,
)  # fmt: skip
TOLD = ("", NO_COMPARISON)


@dataclass(frozen=True)
class Needed:
    """What would tell a change in four cases of five, as large as the one seen or (`is_half`) by half.

    `weeks`: so many more weeks of counts after this work, 0 where none would do. `times`: another time, with four weeks
    on each side, so many times as many cards in each place; 1 = as many as now, 0 = not even four times as many.
    """

    weeks: int
    times: int
    is_half: bool = True


@dataclass(frozen=True)
class WorkEffect:
    """What became of the counts after one work, told from one method (None where nothing is counted there).

    `ratio` is what is left of what was to be expected (0.5 = half), with its 95 % interval; None where nothing can be
    told. `compared_with` are the facilities that it was compared with, or it was the region (`with_region`); with
    `reason` "no_comparison" it is before and after alone. Other reasons say why there is none. `until`: the day of a
    later work that ended what is looked at. `weather` is "hot" or "cold" where the weeks after were, which keeps counts
    low by itself. With "together" there were others at the same time in the same place (`together_with`): none of them
    has an effect of its own, and `joint` is that of all at once, where it can be told. `needed` is there where more
    counts would tell more.
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
    with_region: bool = False
    together_with: tuple[Deed, ...] = ()
    joint: "WorkEffect | None" = None
    needed: Needed | None = None
    settled_on: date | None = None

    @property
    def change(self) -> float | None:
        """The same as `ratio` in per cent, to a tenth: -50.0 is half."""
        return percent(self.ratio)

    @property
    def change_low(self) -> float | None:
        return percent(self.low)

    @property
    def change_high(self) -> float | None:
        return percent(self.high)

    @property
    def joint_change(self) -> float | None:
        return None if self.joint is None else self.joint.change

    @property
    def joint_low(self) -> float | None:
        return None if self.joint is None else self.joint.change_low

    @property
    def joint_high(self) -> float | None:
        return None if self.joint is None else self.joint.change_high

    @property
    def weeks_needed(self) -> int | None:
        return None if self.needed is None else self.needed.weeks

    @property
    def is_clear(self) -> bool:
        """Whether no change at all does not fit the counts."""
        return self.low is not None and self.high is not None and not self.low <= 1 <= self.high

    @property
    def credits(self) -> bool:
        """Whether it stands for its work alone: against something, in weather that keeps no count low by itself."""
        fell = self.ratio is not None and self.ratio < 1
        return self.reason == "" and not (self.weather and fell and not self.compared_with)


def percent(ratio: float | None) -> float | None:
    return None if ratio is None else round(100 * (ratio - 1), 1)


def effects_of_works(
    works: Sequence[Work | Done], farms: Sequence[Farm], on: date, *, reports: str = "region"
) -> dict[UUID, WorkEffect]:
    """The effect of each work, by its id, as it can be told on a day. A fixed number of queries.

    A release of wasps has its programme's. `reports`: the connection by which region reports are read.
    """
    if not works:
        return {}
    since = min(work.done_on for work in works) - PROGRAMMES
    known = deeds_of_farms([farm.id for farm in farms], since, max(on, *(work.done_on for work in works)))
    wanted = {work.id for work in works}
    asked = [deed for deed in known if wanted & set(deed.members)]
    effects = effects_of_deeds(asked, farms, on, known=known, reports=reports)
    of_works = {member: effects[deed.id] for deed in asked for member in deed.members if member in wanted}
    # Whoever may not see a work's row is told nothing of it.
    return {work.id: of_works.get(work.id, WorkEffect(NOT_COUNTED)) for work in works}


def effects_of_deeds(
    deeds: Sequence[Deed], farms: Sequence[Farm], on: date, *, known: Sequence[Deed], reports: str = "region"
) -> dict[UUID, WorkEffect]:
    """The effect of each deed, by its id, between all that is known to have been done on its farm.

    The result rests on the first method with stations where it was done that has one with a comparison, else without:
    cards before traps before legs, whatever they say.
    """
    if not deeds:
        return {}
    seen = _Seen.of(deeds, farms, on, known, reports)
    by_deed: dict[UUID, list[WorkEffect]] = {deed.id: [] for deed in deeds}
    for row, effect in zip(seen.rows, seen.effects(), strict=True):
        by_deed[row.window.deed.id].append(_not_credited(effect, row.window))
    return {deed_id: _first_with_a_result(effects) for deed_id, effects in by_deed.items()}


def _first_with_a_result(effects: Sequence[WorkEffect]) -> WorkEffect:
    return min(effects, key=lambda effect: REASONS.index(effect.reason), default=WorkEffect(NOT_COUNTED))


def _not_credited(effect: WorkEffect, window: Window) -> WorkEffect:
    """Keep an effect from one of several deeds that can't be told apart; all of them at once may have one."""
    if not window.together or effect.reason == TOO_EARLY:
        return effect
    joint = effect if window.joint and effect.reason in TOLD else None
    return WorkEffect(TOGETHER, effect.method, together_with=window.together, joint=joint)


@dataclass(frozen=True)
class _Seen:
    """The deeds with all that is known of their farms around them."""

    arrays: CheckArrays
    temperatures: FarmDays
    first: date
    rows: tuple[DeedRow, ...]
    region_of: Mapping[UUID, UUID]
    reports: str

    @classmethod
    def of(cls, deeds: Sequence[Deed], farms: Sequence[Farm], on: date, known: Sequence[Deed], reports: str) -> "_Seen":
        ids = [farm.id for farm in farms]
        windows = windows_of(deeds, known, on)
        first = min(window.begins for window, _method in windows)
        arrays = readings_for_check(ids, monday_of(first), monday_of(on))
        facility = np.array([place.int for place in arrays.facility_ids], np.object_)[arrays.station_facility]
        kinds = kinds_of(ids)
        made = (row_of(arrays, facility, kinds, window, method) for window, method in windows)
        rows = tuple(row for row in made if row.treated.any())
        temperatures = temperatures_of_farms(farms, first, on)
        return cls(arrays, temperatures, first, rows, {farm.id: farm.region_id for farm in farms}, reports)

    def effects(self) -> Iterator[WorkEffect]:
        """Each row's effect, in their order."""
        if not self.rows:
            return
        grid, shape = self._grid, (len(self.rows), self._size, len(COLUMNS))
        treated, place = np.zeros(shape[:2], np.bool_), np.ones(shape[:2], np.int64)
        for number, row in enumerate(self.rows):
            treated[number, : row.treated.size], place[number, : row.place.size] = row.treated, row.place
        counted = grid.counted.reshape(shape)
        found = work_effects(counted, grid.effort.reshape(shape), treated, COLUMNS, place)
        outside = self._outside(found)
        if outside is not None:
            found = work_effects(counted, grid.effort.reshape(shape), treated, COLUMNS, place, outside)
        needed = self._needed(found)
        at_least = np.asarray(grid.at_least.reshape(shape).any(axis=(1, 2)), np.bool_)
        interval = found.interval()
        for number, row in enumerate(self.rows):
            effect = self._effect(found, interval, number, row)
            if effect.reason in TOLD:
                effect = replace(effect, weather=self._weather(row), at_least=bool(at_least[number]))
            clear = effect.is_clear or effect.reason not in (*TOLD, TOO_EARLY)
            yield effect if clear else replace(effect, needed=needed[number])

    def _effect(self, found: WorkEffects, interval: RatioInterval, number: int, row: DeedRow) -> WorkEffect:
        """What the fit says of a row."""
        compared = bool(found.compared[number])
        reason = _reason(str(found.reason[number]), row.window, compared=compared)
        beside = self._elsewhere(row, found.other_stations[number, : row.stations.size]) if compared else ()
        if row.window.deed.is_programme and reason in TOLD and not beside:
            reason = NO_OTHER_PLACE
        until = row.window.ends if row.window.cut_short else None
        effect = WorkEffect(reason, row.method, until=until, settled_on=row.window.last + row.window.settles)
        if reason not in TOLD:
            return effect
        return replace(
            effect,
            ratio=float(found.ratio[number]),
            low=float(interval.low[number]),
            high=float(interval.high[number]),
            compared_with=beside,
            with_region=compared and not beside,
            weeks_before=int(found.weeks_before[number]),
            weeks_after=int(found.weeks_after[number]),
        )

    def _needed(self, found: WorkEffects) -> list[Needed]:
        """What would tell the change seen, or a half; of what is not fitted, from how many stations there are."""
        usual = [self._usual_noise(row, found.noise.shape[1]) for row in self.rows]
        fitted = found.reason == ""
        noise = np.where(fitted[:, None], found.noise, np.array(usual))
        seen = np.where(np.abs(np.nan_to_num(found.log_ratio)) >= WORTH_TELLING, np.nan_to_num(found.log_ratio), HALF)
        before = np.where(fitted, found.weeks_before, LOOK_BACK // timedelta(weeks=1))
        after = np.where(fitted, found.weeks_after, 0)
        told = counts_needed(noise, before, after, seen, found.factor, found.degrees)
        return [
            Needed(int(weeks), int(times), bool(target == HALF))
            for weeks, times, target in zip(told.weeks_more, told.times, seen, strict=True)
        ]

    def _usual_noise(self, row: DeedRow, places: int) -> Floats:
        noise = np.full(places, np.nan)
        one = 1 / USUAL_CATCH + 1 / K_OF_WEIGHTS
        number = Counter(np.where(row.treated, 0, row.place + 1).tolist())
        for place, stations in number.items():
            noise[place] = one / stations
        return noise

    def _outside(self, found: WorkEffects) -> Outside | None:
        """What is published of the regions of those that counts tell of, but no other place beside them."""
        alone = (found.reason == "") & ~found.compared & ~np.array([row.window.deed.is_programme for row in self.rows])
        wanted = {number: iso_weeks(self.rows[number].window) for number in np.flatnonzero(alone).tolist()}
        if not wanted:
            return None
        farm_ids = {number: self.rows[number].window.deed.farm_id for number in wanted}
        weeks = [week for each in wanted.values() for week in each]
        regions = region_weeks(
            {self.region_of[each] for each in farm_ids.values()}, min(weeks), max(weeks), using=self.reports
        )
        level, variance = (np.full((len(self.rows), len(COLUMNS)), np.nan) for _each in range(2))
        for number, asked in wanted.items():
            region_id = self.region_of[farm_ids[number]]
            level[number], variance[number] = regions.levels(region_id, self.rows[number].method, asked)
        return Outside(level, variance)

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

    def _readings_of(self, row: DeedRow) -> tuple[Ints, Ints, Ints]:
        """The readings that speak of a row's work, their station's place in the row, and their week from the work."""
        place = np.full(len(self.arrays.station_id), -1, np.int64)
        place[row.stations] = np.arange(row.stations.size)
        mine = np.flatnonzero((place[self.arrays.station] >= 0) & ~np.isnan(self.arrays.count))
        after, speaks = days_after(self.arrays, mine, row)
        # Days 1 to 7 before are week -1, days 0 to 6 after week 0.
        return mine[speaks], place[self.arrays.station[mine[speaks]]], after[speaks] // 7

    def _elsewhere(self, row: DeedRow, stands: Bools) -> tuple[UUID, ...]:
        """The facilities whose counts stand for what was to be expected."""
        others = (self.arrays.facility_ids[self.arrays.station_facility[each]] for each in row.stations[stands])
        return tuple(dict.fromkeys(others))

    def _weather(self, row: DeedRow) -> str:
        window = row.window
        first, last = ((day - self.first).days for day in (window.last + window.settles, window.ends))
        highest = self.temperatures.temperatures.highest[self.temperatures.place[row.farm], first : last + 1]
        if 2 * (~np.isnan(highest)).sum() <= highest.size:
            return ""
        mean = float(np.nanmean(highest))
        return "hot" if mean >= HOT else "cold" if mean < COLD else ""


def _reason(found: str, window: Window, *, compared: bool) -> str:
    if found == "":
        return "" if compared else NO_COMPARISON
    if found in (NOTHING_CAUGHT, FEW_CAUGHT):
        return found
    if found == "too_few_before":
        return TOO_FEW
    if window.is_early:
        return TOO_EARLY
    return OVERTAKEN if window.cut_short else TOO_FEW
