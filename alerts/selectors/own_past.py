"""A farm's weeks between the limits of its own past, from its own readings; see `monitoring.analysis.own_past`."""

from collections.abc import Hashable
from dataclasses import dataclass
from datetime import date, timedelta
from functools import partial
from typing import TYPE_CHECKING

import numpy as np

from alerts.selectors.farm_counts import FarmCounts, MethodCounts, counts_of_farms
from farms.kept import content_of, kept
from monitoring.analysis.own_past import BELOW, OwnPast, own_past
from monitoring.analysis.season_level import SeasonLevel, season_from, weeks_to_same_week
from monitoring.analysis.week_scores import WEEKS_BEFORE, score_newest, windows_from

if TYPE_CHECKING:
    from farms.models import Farm

WEEK = timedelta(weeks=1)
SHOWN = 30
# The line begins so many weeks before the first that is shown, and what is expected by so many earlier years.
BEFORE, EARLIER_YEARS, LONGEST_YEAR = 20, 3, 53
LINE = SHOWN + BEFORE
DOUBTFUL = "sprayed_or_cold"


@dataclass(frozen=True)
class PastWeek:
    """One week of one method, in the method's unit; None where `reason` is not "".

    `level` is the smoothed level, `low` and `high` its limits, `expected` what this week was expected to be; `word` is
    "above", "below", "within" or ""; `weeks_outside` counts the weeks in a row on the same side; `basis` is "season" or
    "weeks". `reason` is "not_counted", "too_few_weeks", "too_few_counts", "all_zero", "not_comparable", or
    "sprayed_or_cold" where a low count of legs says little: then there are numbers, and no word.
    """

    week: date
    level: float | None
    low: float | None
    high: float | None
    expected: float | None
    word: str
    weeks_outside: int
    basis: str
    reason: str


@dataclass(frozen=True)
class MethodPast:
    """One method's weeks, oldest first; the last one is the week asked for.

    A farm that stays level first leaves the limits after `run_length` weeks on average where how weeks scatter is
    known from the group (`lent`); the printed figures stand in where it is not, and then it is 35 to 120 weeks.
    """

    method: str
    weeks: tuple[PastWeek, ...]
    run_length: float
    lent: bool


def counts_with_past(farm: "Farm", week: date) -> FarmCounts:
    """The counts that the weeks up to one (its Monday) are held against: about four years of them."""
    first = week - (LINE - 1 + WEEKS_BEFORE + EARLIER_YEARS * LONGEST_YEAR + 1) * WEEK
    return counts_of_farms([farm], first, week)


def own_past_of(farm: "Farm", week: date, seen: FarmCounts | None = None) -> list[MethodPast]:
    """Each method that the farm counted in the weeks up to one (its Monday): at most thirty weeks, one read.

    The time of the year is taken into account by the farm's own earlier years where they have enough weeks. `seen`:
    what `counts_with_past` read, for whoever needs it too.
    """
    seen = seen or counts_with_past(farm, week)
    mondays = np.array(seen.mondays, "M8[D]")
    counted = [method for method in seen.methods if (~np.isnan(method.counts[:, :, -SHOWN:])).any()]
    return [kept(("own past", *_content(method), seen.first), partial(_past, method, mondays)) for method in counted]


def _content(method: MethodCounts) -> tuple[Hashable, ...]:
    arrays = (method.counts, method.days, method.k, method.dates, method.doubtful)
    return method.method, method.scatter, content_of(*arrays)


def _past(method: MethodCounts, mondays: np.ndarray) -> MethodPast:
    counts, days, k, dates = method.counts[:1], method.days[:1], method.k[:1], method.dates[:1]
    drawn = mondays[-LINE:]
    windows = windows_from(counts, days, dates, k, back=np.zeros(len(drawn), np.int64))
    found = own_past(score_newest(windows, method.scatter, _season(method, drawn)), len(drawn))
    doubtful = method.doubtful[0, -LINE:]
    shown = range(len(drawn) - SHOWN, len(drawn))
    weeks = [_week(found, drawn[at].item(), at, doubtful=bool(doubtful[at])) for at in shown]
    started = next((at for at, one in enumerate(weeks) if one.reason != "not_counted"), 0)
    lent = method.scatter is not None and method.scatter.borrowed
    return MethodPast(method.method, tuple(weeks[started:]), found.run_length, lent)


def _season(method: MethodCounts, mondays: np.ndarray) -> SeasonLevel | None:
    """What the farm's own earlier years say of these last weeks; None where nothing was counted so long ago."""
    counts, days, k, dates = method.counts[:1], method.days[:1], method.k[:1], method.dates[:1]
    if np.isnan(counts[:, :, : -(LONGEST_YEAR - WEEKS_BEFORE)]).all():
        return None
    years = [
        windows_from(
            counts, days, dates, k, back=weeks_to_same_week(mondays, year) - 1, length=WEEKS_BEFORE + 3
        )
        for year in range(1, EARLIER_YEARS + 1)
    ]  # fmt: skip
    return season_from(years, method.scatter)


def _week(found: OwnPast, monday: date, at: int, *, doubtful: bool) -> PastWeek:
    word, reason = str(found.word[0, at]), str(found.reason[0, at])
    no_fall = doubtful and word == BELOW

    def number(values: np.ndarray) -> float | None:
        return None if reason else float(np.exp(values[0, at]))

    return PastWeek(
        week=monday,
        level=number(found.smoothed),
        low=number(found.low),
        high=number(found.high),
        expected=number(found.expected),
        word="" if no_fall else word,
        weeks_outside=0 if no_fall else int(found.weeks_outside[0, at]),
        basis=str(found.basis[0, at]),
        reason=DOUBTFUL if no_fall else reason,
    )
