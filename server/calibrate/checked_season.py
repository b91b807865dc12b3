"""What does the weekly check say of a simulated season? The check's own functions, with a memory for the database.

Unlike the rest of this package it imports the alerts, and with them Django: import it once Django is set up.
"""

from collections import defaultdict
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, time, timedelta
from itertools import count
from types import SimpleNamespace
from typing import Any
from uuid import UUID

import numpy as np

from alerts.checks.borrowed import NOTHING, Borrowed
from alerts.checks.drafts import drafts_by
from alerts.checks.grid import Grid, first_week_of_window
from alerts.checks.known import Change, KnownWeek, Matter, OpenAlert, PastResult, Result, by_farm
from alerts.checks.life import changes_of
from alerts.checks.occasion import Occasion
from alerts.checks.outlook import weeks_by_method
from alerts.checks.rises import bars_of
from alerts.checks.rules.over import REOPENS_WITHIN
from alerts.checks.store import ENDS_FOR_GOOD
from alerts.levels import FarmLevels, Level, unit_of
from alerts.models.alert import EventKind, Rule
from alerts.models.assessment import LevelWord, TrendWord
from alerts.rounds import Season, Walks
from alerts.rules import GroupRules
from farms.clock import quarter_of
from farms.models import Farm
from monitoring.analysis.correlated_weeks import PRINTED, two_digits
from monitoring.analysis.farm_weeks import WINDOW_WEEKS, farm_weeks_from
from monitoring.analysis.pooled_k import pooled_k
from monitoring.analysis.shapes import Bools, Floats, Ints
from monitoring.arrays import CheckArrays, IdsAsSent
from server.calibrate.group_seasons import GroupSeason
from server.calibrate.networks import Lent

METHOD, BARN = "card", 10**9
FIRST = date(2026, 4, 6)  # the Monday on which the first cards are hung; the second quarter begins in week 13
WEEK = timedelta(days=7)
RULES = (Rule.OVER.value, Rule.SOON.value, Rule.RISING.value, Rule.JUMP.value, Rule.HOT_STATION.value)


@dataclass(frozen=True)
class ToldSeason:
    """What was told, (n_farms, n_weeks) each: `opened` and `again` by rule whether an alert opened, or opened again,
    in a week; `open` how many were open after it; `mean` what was counted [specks a card and 7 days], NaN = nothing;
    `over` and `rising` whether the week's result said so; `apart` the number of the station that stands far above the
    others, where an alert of that opened.
    """

    opened: dict[str, Bools]
    again: dict[str, Bools]
    open: Ints
    mean: Floats
    over: Bools
    rising: Bools
    apart: Ints


def check_season(season: GroupSeason, rules: GroupRules) -> ToldSeason:
    """Run the weekly check on every Monday of a season.

    Every farm's cards hang in one calf barn and are read each Monday; the group has one action level. Until the second
    quarter the printed figures are borrowed, from then on those of the twelve weeks before it.
    """
    check = _Check.of(season)
    for week in range(season.weeks):
        check.judge(week, rules)
    return check.told


@dataclass
class _Memory:
    """What the database would hold: open alerts and results by farm, ends by matter, and how alerts were last noted."""

    open: dict[UUID, list[OpenAlert]] = field(default_factory=lambda: defaultdict(list))
    results: dict[UUID, list[PastResult]] = field(default_factory=lambda: defaultdict(list))
    ended: dict[tuple[UUID, Matter], tuple[date, UUID, str]] = field(default_factory=dict)
    was_met: dict[UUID, bool] = field(default_factory=dict)
    numbers: Any = field(default_factory=lambda: count(1))

    def keep(self, change: Change, week: date) -> EventKind:
        """Bring in what happened to an alert. Returns what it was: what comes back soon is opened again."""
        alert, kind = change.alert, change.kind
        if alert is None:
            kind, alert = self._begun(change, week)
            self.open[change.farm_id].append(alert)
        elif kind == EventKind.CLOSED:
            self.open[change.farm_id].remove(alert)
            self.ended[change.farm_id, change.matter] = week, alert.id, change.because
        self.was_met[alert.id] = bool(change.evidence.get("met", True))
        return kind

    def _begun(self, change: Change, week: date) -> tuple[EventKind, OpenAlert]:
        """A new alert, or the one of the same matter that ended not long ago, as alerts/checks/store.py has it."""
        ended, own, because = self.ended.get((change.farm_id, change.matter), (date.min, UUID(int=0), ""))
        again = bool(because) and week - ended <= REOPENS_WITHIN * WEEK and because not in ENDS_FOR_GOOD
        alert = OpenAlert(change.farm_id, own if again else UUID(int=next(self.numbers)), *change.matter, week)
        return (EventKind.REOPENED if again else EventKind.OPENED), alert


@dataclass
class _Check:
    """A season under check: its readings as the check reads them, the farms, and what is remembered and told."""

    season: GroupSeason
    arrays: CheckArrays
    farms: list[Farm]
    memory: _Memory
    told: ToldSeason
    borrowed: dict[str, Borrowed]

    @classmethod
    def of(cls, season: GroupSeason) -> "_Check":
        shape = (len(season.counts), season.weeks)
        farms = [Farm(id=UUID(int=number), time_zone="UTC") for number in range(1, shape[0] + 1)]
        no = {name: {rule: np.zeros(shape, np.bool_) for rule in RULES} for name in ("opened", "again")}
        told = ToldSeason(
            **no, open=np.zeros(shape, np.int64), mean=np.full(shape, np.nan), over=np.zeros(shape, np.bool_),
            rising=np.zeros(shape, np.bool_), apart=np.zeros(shape, np.int64),
        )  # fmt: skip
        return cls(season, arrays_of(season, farms), farms, _Memory(), told, dict(NOTHING))

    def judge(self, number: int, rules: GroupRules) -> None:
        """Judge a week and keep what follows from it."""
        week = FIRST + number * WEEK
        if number and quarter_of(week) != quarter_of(week - WEEK):
            self.borrowed[METHOD] = _lent_by(self.season, slice(max(0, number - WINDOW_WEEKS), number))
        occasion = Occasion(
            group=SimpleNamespace(id=UUID(int=0)),  # type: ignore[arg-type]  # nothing is asked of it
            week=week, now=datetime.combine(week + WEEK, time(10), UTC), newest=True, borrowed=self.borrowed,
            rules=rules,
        )  # fmt: skip
        results = self._results(occasion)
        of_farms = [row for row in results if row.facility_id is None and row.mean is not None]
        p_values = [row.p_rise for row in of_farms if row.p_rise is not None]
        bars = bars_of({METHOD: p_values}, rules.number(Rule.RISING, "false_share"))
        self._note_results(of_farms, number)
        self._change(results, replace(occasion, rise_bars=bars), number)

    def _results(self, occasion: Occasion) -> list[Result]:
        grid = Grid(_up_to(self.arrays, occasion.week), occasion.week)
        owners = grid.farm_owners()
        weeks = weeks_by_method(grid, owners, occasion.borrowed)
        level = Level(self.season.level, unit_of(METHOD), "group")
        levels = dict.fromkeys(grid.arrays.farm_ids, FarmLevels(group={METHOD: level}))
        return drafts_by(levels, grid, occasion, owners, weeks).results()

    def _note_results(self, rows: list[Result], number: int) -> None:
        for row in rows:
            place = row.farm_id.int - 1, number
            self.told.mean[place] = row.mean
            self.told.over[place] = row.result == LevelWord.OVER
            self.told.rising[place] = row.trend == TrendWord.RISING

    def _change(self, results: list[Result], occasion: Occasion, number: int) -> None:
        rows, memory = by_farm(results), self.memory
        walks = Walks((Season(FIRST),), occasion.week + WEEK)
        for place, farm in enumerate(self.farms):
            own = rows.get(farm.id, [])
            known = KnownWeek(
                farm, own, memory.results[farm.id], list(memory.open[farm.id]), walks, memory.was_met
            )  # fmt: skip
            for change in changes_of(known, occasion):
                kind = memory.keep(change, occasion.week)
                self._note(change, kind, (place, number))
            self.told.open[place, number] = len(memory.open[farm.id])
            memory.results[farm.id] += [_past(row, occasion.week) for row in own]

    def _note(self, change: Change, kind: EventKind, place: tuple[int, int]) -> None:
        rule = change.matter[2]
        marks = {EventKind.OPENED: self.told.opened, EventKind.REOPENED: self.told.again}.get(kind, {})
        if rule in marks:
            marks[rule][place] = True
            if rule == Rule.HOT_STATION:
                self.told.apart[place] = change.evidence["number"]


def _past(row: Result, week: date) -> PastResult:
    return PastResult(
        row.farm_id, row.facility_id, row.method, week, row.mean, row.level, row.at_least, row.result, row.trend
    )


def _lent_by(season: GroupSeason, weeks: slice) -> Borrowed:
    """What the group lends from these weeks on."""
    counts, days = season.counts[:, :, weeks], season.days[:, :, weeks]
    k = two_digits(pooled_k(counts, days) or PRINTED.k)
    lent = Lent.by(farm_weeks_from(counts, days, 7.0 * np.arange(counts.shape[2]), k), k)
    return Borrowed(lent.scatter, "simulated", lent.beside)


def arrays_of(season: GroupSeason, farms: list[Farm]) -> CheckArrays:
    """A season's cards as `monitoring.arrays.readings_for_check` would give them, all weeks of it."""
    n_farms, n_cards, n_weeks = season.counts.shape
    stations = n_farms * n_cards
    station = np.repeat(np.arange(stations), n_weeks)
    monday = np.datetime64(FIRST, "D") + 7 * np.tile(np.arange(n_weeks), stations)
    counted, no = season.counts.ravel(), np.zeros(station.size, np.bool_)
    farm = np.repeat(np.arange(n_farms), n_cards)
    return CheckArrays(
        farm_ids=tuple(each.id for each in farms),
        facility_ids=tuple(UUID(int=BARN + each.id.int) for each in farms),
        station_id=IdsAsSent([UUID(int=2 * BARN + number).bytes for number in range(stations)]),
        station_farm=farm,
        station_facility=farm,
        station_method=np.full(stations, METHOD),
        station_number=np.tile(np.arange(1, n_cards + 1), n_farms),
        station_since=np.full(stations, np.datetime64(FIRST, "D")),
        station_until=np.full(stations, np.datetime64("NaT", "D")),
        station_near=np.full(stations, "nothing"),
        station_windy=np.zeros(stations, np.bool_),
        station_reach=np.ones(stations, np.bool_),
        station_housing=np.ones(stations, np.bool_),
        station_squares=np.full(stations, np.nan),
        station=station,
        week=monday,
        middle=monday + 3,
        count=counted,
        fraction=season.days.ravel() / 7,
        exposure=np.full(station.size, 7.0),
        at_least=no,
        how=np.full(station.size, "counted"),
        reason=np.where(np.isnan(counted), "lost", ""),
        sprayed=no,
        late=no,
        cold=no,
    )


def _up_to(arrays: CheckArrays, week: date) -> CheckArrays:
    """What the check of a week reads: the readings of its window."""
    first, last = np.datetime64(first_week_of_window(week), "D"), np.datetime64(week, "D")
    read = (arrays.week >= first) & (arrays.week <= last)
    names = ("station", "week", "middle", "count", "fraction", "exposure", "at_least", "how", "reason")
    marks = ("sprayed", "late", "cold")
    return replace(arrays, **{name: getattr(arrays, name)[read] for name in (*names, *marks)})
