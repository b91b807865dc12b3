"""What a chart is drawn from: a season of one method, and the reader's words."""

import math
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import Literal, TypeVar

T = TypeVar("T")
Level = Literal["below", "near", "over", "none"]
Values = tuple[float | None, ...]

_LEVELS = ("below", "near", "over", "none", None)
_KEY = re.compile(r"[A-Za-z][A-Za-z0-9-]*")


@dataclass(frozen=True)
class WorkMark:
    """Work done on a day, shown as one letter; the page explains the letters beside the chart.

    With `until` it is a programme of several days: its letter stands at the first, and a band runs to the last.
    """

    day: date
    letter: str
    until: date | None = None

    def __post_init__(self) -> None:
        if self.until is not None and self.until < self.day:
            raise ValueError(f"A programme that begins on {self.day} can't end on {self.until}.")
        if len(self.letter) != 1:
            raise ValueError(f"A mark for work is one letter; {self.letter!r} is not.")


@dataclass(frozen=True)
class WeekAhead:
    """What a week to come may bring: its median, and (low, high) of each band of the forecast, the widest first."""

    median: float
    bands: tuple[tuple[float, float], ...]

    def __post_init__(self) -> None:
        ends = [low for low, _high in self.bands] + [self.median] + [high for _low, high in reversed(self.bands)]
        if any(not math.isfinite(end) or end < 0 for end in ends) or ends != sorted(ends):
            raise ValueError("A forecast's bands lie within each other around its median, all of them zero or more.")


@dataclass(frozen=True)
class SeasonSeries:
    """One method on one farm or facility, one value a week from `first_week` on, no week left out.

    Parameters
    ----------
    key : names the chart within its page: letters, digits, hyphens.
    first_week : the Monday of the first value's ISO week.
    means : (n_weeks,) weekly mean in the method's unit; None or NaN = not counted. Missing is never zero.
    lows, highs : (n_weeks,) ends of the mean's interval, or empty. None where there is none.
    levels : (n_weeks,) each week's word from its assessment, or empty: points then carry no word.
    action_level : one value, or (n_weeks,) where it changed within the season; None where there is none.
    at_least : (n_weeks,) True where the mean is a lower bound ("too many to count"), or empty.
    work : marks; those outside the weeks shown are not drawn.
    ahead : the weeks after the last one, as a forecast has them; empty where nothing can be said.
    before : (n_weeks + n_ahead,) the same weeks of the year before, or empty. `before_name` is written beside the line.
    began : Mondays of the weeks in which a matter began; those outside the weeks shown are not drawn.

    Raises
    ------
    ValueError : with a full sentence that names the field and the week.
    """

    key: str
    first_week: date
    means: Sequence[float | None]
    lows: Sequence[float | None] = ()
    highs: Sequence[float | None] = ()
    levels: Sequence[Level | None] = ()
    action_level: float | Sequence[float | None] | None = None
    at_least: Sequence[bool] = ()
    work: tuple[WorkMark, ...] = ()
    ahead: tuple[WeekAhead, ...] = ()
    before: Sequence[float | None] = ()
    before_name: str = ""
    began: tuple[date, ...] = ()
    action_levels: Values = field(init=False, default=())

    def __post_init__(self) -> None:
        _check_key_and_week(self.key, self.first_week)
        n_weeks = len(self.means)
        if n_weeks == 0:
            raise ValueError("A season has no week to show: pass one value a week, None where nothing was counted.")
        for name in ("means", "lows", "highs"):
            _store(self, name, _values(name, getattr(self, name), n_weeks))
        _store(self, "before", _values("before", self.before, n_weeks + len(self.ahead)))
        _store(self, "levels", _per_week("levels", self.levels, n_weeks))
        _store(self, "at_least", _per_week("at_least", self.at_least, n_weeks))
        _store(self, "action_levels", _action_levels(self.action_level, n_weeks))
        _check_levels(self.levels)
        _check_intervals(self)

    @property
    def n_weeks(self) -> int:
        return len(self.means)

    def week(self, index: int) -> date:
        """The Monday of a week by its index."""
        return self.first_week + timedelta(weeks=index)


def plain_number(value: float) -> str:
    """1200 as 1,200; 2.5 as 2.5; at most one decimal."""
    rounded = round(value, 1)
    return f"{rounded:,.0f}" if rounded == int(rounded) else f"{rounded:,.1f}"


@dataclass(frozen=True)
class ChartWords:
    """The reader's words, already translated.

    `title` and `description` are read aloud in place of the picture; `unit` stands over the axis ("specks a card"),
    `action_level` on its rule, `no_counts` in an empty chart. `date_label` writes a Monday ("Jun 29"), `number` a
    value.
    """

    title: str
    description: str
    unit: str
    action_level: str
    no_counts: str
    date_label: Callable[[date], str]
    number: Callable[[float], str] = plain_number
    to_come: str = ""


def week_values(name: str, values: Sequence[float | None]) -> Values:
    """The values as a tuple with NaN as None; refuses what cannot be a count."""
    return tuple(_value(name, index, value) for index, value in enumerate(values))


def _store(series: SeasonSeries, name: str, value: object) -> None:
    object.__setattr__(series, name, value)  # a frozen dataclass normalises its own fields this way


def _check_key_and_week(key: str, first_week: date) -> None:
    if not _KEY.fullmatch(key):
        raise ValueError(
            f"A chart's key starts with a letter and has letters, digits and hyphens only; {key!r} has not."
        )
    if first_week.isoweekday() != 1:
        raise ValueError(f"A season starts on the Monday of its first week; {first_week} is not a Monday.")


def _values(name: str, values: Sequence[float | None], n_weeks: int) -> Values:
    return week_values(name, _per_week(name, values, n_weeks))


def _per_week(name: str, values: Sequence[T], n_weeks: int) -> tuple[T, ...]:
    if len(values) not in (0, n_weeks):
        raise ValueError(f"There are {n_weeks} weeks but {len(values)} {name}: pass one a week, or none at all.")
    return tuple(values)


def _value(name: str, index: int, value: float | None) -> float | None:
    if value is None or math.isnan(value):
        return None
    if math.isinf(value) or value < 0:
        raise ValueError(
            f"Week {index + 1} of {name} is {value}: a value is zero or more, or None where none was counted."
        )
    return float(value)


def _action_levels(level: float | Sequence[float | None] | None, n_weeks: int) -> Values:
    each = [level] * n_weeks if level is None or isinstance(level, int | float) else level
    values = _values("action_level", each, n_weeks)
    if any(value == 0 for value in values):
        raise ValueError("An action level is above zero; pass None where there is none.")
    return values


def _check_levels(levels: Sequence[Level | None]) -> None:
    for index, level in enumerate(levels):
        if level not in _LEVELS:
            raise ValueError(f"Week {index + 1} has the level {level!r}: it is one of below, near, over, none.")


def _check_intervals(series: SeasonSeries) -> None:
    if bool(series.lows) != bool(series.highs):
        raise ValueError("An interval has two ends: pass both lows and highs, or neither.")
    for index, (low, high) in enumerate(zip(series.lows, series.highs, strict=True)):
        if (low is None) != (high is None):
            raise ValueError(f"Week {index + 1} has one end of an interval only: pass both, or None for both.")
        if low is not None and high is not None and low > high:
            raise ValueError(f"Week {index + 1} has an interval from {low} to {high}: the low end is the smaller one.")
