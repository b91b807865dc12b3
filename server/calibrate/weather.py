"""What do the statements do where weather drives the flies and nothing is as they assume? A report, without bars."""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from monitoring.analysis.correlated_weeks import PRINTED, two_digits
from monitoring.analysis.farm_weeks import FarmWeeks, farm_weeks_from
from monitoring.analysis.forecast import forecast
from monitoring.analysis.group_list import group_list
from monitoring.analysis.pooled_k import pooled_k
from monitoring.analysis.rise import find_rises
from monitoring.analysis.shapes import Bools, Floats, Ints
from server.calibrate.cells import PROCESSES, over_cells
from server.calibrate.networks import NO_NETWORK, Lent
from server.calibrate.seasons import DAYS, WEEK, WEEKS, Season, taken_on

# Farms of one group, judged from the sixth card on by up to twelve weeks.
GROUP, WINDOW, FIRST_JUDGED = 300, 12, 5
# The quarter begins on the first of July: before, the printed figures hold; from then on those of the weeks before.
SPRING, SUMMER = slice(0, 9), slice(7, 19)
ALARM, PROMISED, AHEAD, LOOKS_BACK = 0.05, 0.8, 2, 3
# How many weeks a corner that is not cleaned any more is news.
NEWS = 8
MONTHS = ("", "", "", "", "", "June", "July", "August", "September", "October")
A_QUARTER = float(np.log(1.25))
# Classes of the true change of the farm's flies over three weeks: ends of the ratio.
CHANGES = {
    "fell by more than a fifth": (0.0, 0.8),
    "stayed within a fifth": (0.8, 1.25),
    "rose by a quarter to a half": (1.25, 1.5),
    "rose by a half to twice": (1.5, 2.0),
    "more than doubled": (2.0, np.inf),
}
TABLES = ("own_test", "forecast", "by_a_summer", "list", "corner")

# Of how many how many, by what it is said of.
Tally = dict[str, tuple[int, int]]


@dataclass(frozen=True)
class SeasonNumber:
    """A simulated season: only its number, which is part of its seed."""

    number: int


def figures(farms: int, seed: int, *, quick: bool = False, processes: int = PROCESSES) -> dict[str, Any]:
    """Look at seasons of a group of 300 farms, as many as hold so many farms, judged week by week.

    Rows have `what`, `share` and `of` (how many it is a share of). "own_test": farm-weeks called rising by the farm's
    own 5 % test, by what its flies really did over three weeks. "forecast": 80 % intervals two weeks ahead that held
    what was then counted, by month and by what happened on the farm; "by_a_summer" the same months with figures lent
    by the summer of another season. "list": names on the group's list of farms with a corner that is not cleaned any
    more, and of farms that really rose by a quarter beyond the middle of the group; `names_a_week` is their mean
    number. "corner": farms with such a corner that were named within eight weeks.
    """
    size = min(farms, GROUP)
    seasons = [SeasonNumber(number) for number in range(1 if quick else max(1, farms // size))]
    told = over_cells(measure, seasons, size, seed, processes)
    tables = {table: _rows(each[table] for each in told) for table in TABLES}
    names = float(np.mean([each["names_a_week"] for each in told]))
    return {"farms": size, "seasons": len(seasons), "seed": seed, "names_a_week": names} | tables


def _rows(tallies: Iterable[Tally]) -> list[dict[str, Any]]:
    """Add up the seasons' tallies: a row for everything of which there was any."""
    hits: dict[str, int] = {}
    of: dict[str, int] = {}
    for tally in tallies:
        for what, (some, number) in tally.items():
            hits[what], of[what] = hits.get(what, 0) + some, of.get(what, 0) + number
    return [{"what": what, "share": hits[what] / of[what], "of": of[what]} for what in of if of[what]]


def measure(rng: np.random.Generator, _season: SeasonNumber, farms: int) -> dict[str, Any]:
    """Judge one season."""
    season, another = Season.of(rng, farms), Season.of(rng, max(farms // 3, 60))
    spring, summer = _lent_by(season, SPRING), _lent_by(another, SUMMER)
    # The first quarter has nothing before it.
    lent = [spring if week >= SPRING.stop else NO_NETWORK for week in range(WEEKS)]
    weeks = [_Monday.of(season, week, lent[week]) for week in range(FIRST_JUDGED, WEEKS)]
    return {
        "own_test": _own_test(season, weeks),
        "forecast": _forecasts(season, weeks),
        "by_a_summer": _only_months(_forecasts(season, [each.by(season, summer) for each in weeks])),
        "list": _lists(season, weeks),
        "corner": _corners(season, weeks),
        "names_a_week": float(np.mean([each.listed.sum() for each in weeks])),
    }


def _lent_by(season: Season, weeks: slice) -> Lent:
    """Give what some weeks of a season lend; nobody takes its outbreaks out."""
    counts, days = season.counts[:, :, weeks], season.days[:, :, weeks]
    k = two_digits(pooled_k(counts, days) or PRINTED.k)
    return Lent.by(_fitted(counts, days, k), k)


def _up_to(season: Season, week: int, lent: Lent) -> FarmWeeks:
    """Fit the weeks that a Monday looks at."""
    window = slice(max(0, week + 1 - WINDOW), week + 1)
    return _fitted(season.counts[:, :, window], season.days[:, :, window], lent.scatter.k)


def _fitted(counts: Floats, days: Floats, k: float) -> FarmWeeks:
    return farm_weeks_from(counts, days, float(WEEK) * np.arange(counts.shape[2]), k)


@dataclass(frozen=True)
class _Monday:
    """What is told of a `week` of the season, (n_farms,): by the farms' own tests and the list, `told` where there is
    enough for it; `low` and `high` are the ends of the forecast.
    """

    week: int
    told: Bools
    rising: Bools
    listed: Bools
    low: Floats
    high: Floats

    @classmethod
    def of(cls, season: Season, week: int, lent: Lent) -> "_Monday":
        weeks, scatter = _up_to(season, week, lent), lent.scatter
        low, high = forecast(weeks, scatter, ahead=(float(AHEAD),)).interval(PROMISED)
        p_rise = find_rises(weeks, scatter).p_rise
        rising = np.nan_to_num(p_rise, nan=1.0) < ALARM
        listed = group_list(weeks, scatter, lent.beside).named
        return cls(week, ~np.isnan(p_rise), rising, listed, low[:, 0], high[:, 0])

    def by(self, season: Season, lent: Lent) -> "_Monday":
        """Give the same with forecasts by other figures."""
        ahead = forecast(_up_to(season, self.week, lent), lent.scatter, ahead=(float(AHEAD),))
        low, high = ahead.interval(PROMISED)
        return replace(self, low=low[:, 0], high=high[:, 0])

    @property
    def month(self) -> str:
        """The month in which its cards were taken."""
        return MONTHS[int(DAYS[taken_on(self.week)].astype("M8[M]").astype(np.int64) % 12)]

    def began_within(self, day: Ints, weeks: int, *, ahead: int = 0) -> Bools:
        """Mark the farms on which something began so many weeks before the cards were taken, or after them."""
        since = taken_on(self.week) - day
        return np.asarray((day >= 0) & (since >= -WEEK * ahead) & (since <= WEEK * weeks), np.bool_)


def _add(tally: Tally, what: str, hits: Bools, of: Bools) -> None:
    found, number = tally.get(what, (0, 0))
    tally[what] = (found + int((hits & of).sum()), number + int(of.sum()))


def _own_test(season: Season, weeks: list[_Monday]) -> Tally:
    tally: Tally = {}
    for what, (low, high) in CHANGES.items():
        for each in weeks:
            times = np.exp(season.change(each.week, LOOKS_BACK))
            _add(tally, what, each.rising, each.told & (times >= low) & (times < high))
    return tally


def _forecasts(season: Season, weeks: list[_Monday]) -> Tally:
    tally: Tally = {f"{month}, nothing happened": (0, 0) for month in MONTHS if month}
    for each in weeks[:-AHEAD]:
        came = season.found_later(each.week, AHEAD)
        of, holds = each.told & ~np.isnan(came), (each.low <= came) & (came <= each.high)
        corner = each.began_within(season.corner, NEWS, ahead=AHEAD)
        done = (season.cleaned, season.sprayed)
        worked = np.logical_or(*(each.began_within(day, WINDOW, ahead=AHEAD) for day in done))
        _add(tally, f"{each.month}, nothing happened", holds, of & ~corner & ~worked)
        _add(tally, "a corner was not cleaned any more", holds, of & corner & ~worked)
        _add(tally, "it was cleaned out or sprayed", holds, of & worked)
    return tally


def _only_months(tally: Tally) -> Tally:
    return {what: some for what, some in tally.items() if what.endswith("nothing happened")}


def _lists(season: Season, weeks: list[_Monday]) -> Tally:
    tally: Tally = {}
    for each in weeks:
        change = season.change(each.week, LOOKS_BACK)
        beyond, corner = change - np.median(change) > A_QUARTER, each.began_within(season.corner, NEWS)
        _add(tally, "names whose corner was not cleaned any more", corner, each.listed)
        _add(tally, "names that rose by a quarter beyond the middle of the group", beyond, each.listed)
        _add(tally, "farms named, of those that did so rise", each.listed, beyond & each.told)
    return tally


def _corners(season: Season, weeks: list[_Monday]) -> Tally:
    tally: Tally = {}
    for what, marks in (("named by the farm's own test", "rising"), ("named on the group's list", "listed")):
        named = np.any([getattr(each, marks) & each.began_within(season.corner, NEWS) for each in weeks], axis=0)
        _add(tally, what, named, season.corner >= 0)
    return tally
