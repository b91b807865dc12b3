"""How much was caught at each station in each week?"""

from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike

from monitoring.analysis.shapes import Bools, Days, Floats, Ints, Words, refuse, refuse_outside, refuse_unlike
from monitoring.analysis.weeks import days_since_1970

SHORT_DAYS, LONG_DAYS = 3, 14
LEGS_PER_ANIMAL = 4
DEVICE_DAYS, PER_ANIMAL = 7.0, 1.0


@dataclass(frozen=True)
class Readings:
    """Current readings as columns, one entry a reading, in any order.

    Parameters
    ----------
    station : (n,) int -- index of the station, from 0.
    week : (n,) int -- index of the ISO week, from 0; see `weeks.week_of_exposure` and `weeks.week_index`.
    middle : (n,) datetime64[D] -- middle day of the exposure; NaT only where nothing was counted.
    count : (n,) float -- what was counted, zero or more; NaN = no count (lost, wet, not visited). [individuals]
    part : (n,) float -- the part of the card that was counted, above 0, at most 1.
    exposure : (n,) float -- days up, or the animals looked at; above zero wherever there is a count. [days, animals]
    at_least : (n,) bool -- too many to count: at least so many.
    how : (n,) str -- "counted", "part" or "cup"; the last two make an estimate.
    """

    station: Ints
    week: Ints
    middle: Days
    count: Floats
    part: Floats
    exposure: Floats
    at_least: Bools
    how: Words

    def __post_init__(self) -> None:
        for name in ("week", "middle", "count", "part", "exposure", "at_least", "how"):
            refuse_unlike(getattr(self, name), self.station.shape, name)
        counted = ~np.isnan(self.count)
        refuse(counted & ((self.count < 0) | np.isinf(self.count)), "count", "must be a number from 0, or NaN for none")
        refuse(~((self.part > 0) & (self.part <= 1)), "part", "must be above 0 and at most 1")
        usable = np.isfinite(self.exposure) & (self.exposure > 0)
        refuse(counted & ~usable, "exposure", "must be above zero wherever there is a count")
        refuse(counted & np.isnat(self.middle), "middle", "must be a date wherever there is a count")

    @property
    def counted(self) -> Bools:
        """(n,) bool -- there is a count."""
        return ~np.isnan(self.count)


@dataclass(frozen=True)
class StationWeeks:
    """What each station gave in each week; every array is (n_stations, n_weeks).

    `rate` is the mean per 7 days (or per animal), NaN = no count. `estimate` is the sum of count / part, `exposure` the
    sum of days (or animals); `counted` and `effort` are the same sums before dividing by the part (effort = exposure
    x part), which is what a count model should be fitted to. `middle` is the mean middle day, weighted by exposure,
    in days since 1970. `devices` counts the readings with a count, `missing` those without. The flags: `at_least` (the
    true rate is this or more), `estimated` (part or cup), `short` (under 3 days) and `long` (over 14 days).
    """

    rate: Floats
    estimate: Floats
    exposure: Floats
    counted: Floats
    effort: Floats
    middle: Floats
    devices: Ints
    missing: Ints
    at_least: Bools
    estimated: Bools
    short: Bools
    long: Bools
    per: Floats
    readings: Readings

    @property
    def per_leg(self) -> Floats:
        """(n_stations, n_weeks) -- flies per leg, where the rate is per animal: four legs an animal."""
        return self.rate / LEGS_PER_ANIMAL

    def of_week(self, week: int) -> "StationWeeks":
        """Give one week (its index, from 0) alone, the only column, with its readings."""
        n_weeks = self.rate.shape[1]
        refuse_outside(np.array([week]), n_weeks, "week")
        readings = self.readings
        these = {name: column[readings.week == week] for name, column in vars(readings).items()}
        given = {name: grid for name, grid in vars(self).items() if name not in ("per", "readings")}
        return replace(
            self,
            **{name: grid[:, week : week + 1] for name, grid in given.items()},
            readings=Readings(**(these | {"week": np.zeros(len(these["week"]), np.int64)})),
        )


def as_typed(part: float) -> Fraction:
    """Give the simplest fraction that a part stored with four decimals can stand for: 0.3333 is a third.

    Without this, 25 specks on a third of a card would be 75.0075 and exceed a level of 75.

    Examples
    --------
    >>> as_typed(0.3333), as_typed(0.25), as_typed(0.0833), as_typed(1.0)
    (Fraction(1, 3), Fraction(1, 4), Fraction(1, 12), Fraction(1, 1))
    """
    exact, half_step = Fraction(str(float(part))), Fraction(1, 20_000)
    for denominator in range(1, 10_001):
        simple = Fraction(round(exact * denominator), denominator)
        if simple > 0 and abs(simple - exact) <= half_step:
            return simple
    return exact


def parts_as_typed(part: Floats) -> Floats:
    """Give each part as the simplest fraction it can stand for; see `as_typed`.

    Examples
    --------
    >>> parts_as_typed(np.array([0.3333, 1.0])) * 3
    array([1., 3.])
    """
    if np.all(part == 1):
        return part
    different, back = np.unique(part, return_inverse=True)
    return np.array([float(as_typed(each)) for each in different])[back]


def station_weeks(readings: Readings, *, n_stations: int, n_weeks: int, per: ArrayLike = DEVICE_DAYS) -> StationWeeks:
    """Pool the readings of each station and week into one rate.

    Parameters
    ----------
    readings : Readings -- the current ones (a corrected reading is not among them).
    n_stations, n_weeks : int -- size of the grid; indices outside it are refused.
    per : number or (n_stations,) -- what the rate is given for: 7 (days) for what hangs, 1 (animal) for leg counts.

    Returns
    -------
    StationWeeks

    Notes
    -----
    Two exposures in one week are pooled: counts add, days add (or animals add), so a week's rate is
    per x sum(count / part) / sum(exposure). A zero is a count like any other. A reading without a count adds nothing,
    neither count nor days; a station and week without any count is NaN, never zero. One "at least" among the pooled
    makes the sum "at least". Exposures under 3 or over 14 days are kept and flagged. 80 specks in 5 days are told as
    112 in 7: that takes the activity to be constant.

    Examples
    --------
    >>> one = Readings(np.array([0]), np.array([0]), np.array(["2026-06-04"], "M8[D]"), np.array([80.0]),
    ...                np.array([1.0]), np.array([5.0]), np.array([False]), np.array(["counted"]))
    >>> station_weeks(one, n_stations=1, n_weeks=2).rate
    array([[112.,  nan]])
    """
    refuse_outside(readings.station, n_stations, "station")
    refuse_outside(readings.week, n_weeks, "week")
    each_per = np.broadcast_to(np.asarray(per, np.float64), (n_stations,))
    refuse(~(each_per > 0) | np.isinf(each_per), "per", "must be above zero")
    grid = _Grid(readings, (n_stations, n_weeks))
    part = parts_as_typed(readings.part)
    estimate = grid.total(readings.count / part)
    exposure = grid.total(readings.exposure)
    hangs = each_per[readings.station] > PER_ANIMAL
    return StationWeeks(
        rate=each_per[:, None] * estimate / exposure,
        estimate=estimate,
        exposure=exposure,
        counted=grid.total(readings.count),
        effort=grid.total(readings.exposure * part),
        middle=grid.total(days_since_1970(readings.middle) * readings.exposure) / exposure,
        devices=grid.number(readings.counted),
        missing=grid.number(~readings.counted),
        at_least=grid.number(readings.counted & readings.at_least) > 0,
        estimated=grid.number(readings.counted & (readings.how != "counted")) > 0,
        short=grid.number(readings.counted & hangs & (readings.exposure < SHORT_DAYS)) > 0,
        long=grid.number(readings.counted & hangs & (readings.exposure > LONG_DAYS)) > 0,
        per=each_per,
        readings=readings,
    )


@dataclass(frozen=True)
class _Grid:
    """Sums of reading columns by station and week."""

    readings: Readings
    shape: tuple[int, int]

    @property
    def size(self) -> int:
        return self.shape[0] * self.shape[1]

    @cached_property
    def cell(self) -> Ints:
        return np.asarray(self.readings.station * self.shape[1] + self.readings.week)

    @cached_property
    def counted(self) -> Ints:
        """The readings with a count, by index."""
        return np.flatnonzero(self.readings.counted)

    @cached_property
    def counted_cell(self) -> Ints:
        return self.cell[self.counted]

    @cached_property
    def empty(self) -> Bools:
        return np.asarray(np.bincount(self.counted_cell, minlength=self.size) == 0, np.bool_)

    def number(self, which: Bools) -> Ints:
        """Count the readings of each cell for which `which` holds."""
        return np.bincount(self.cell[which], minlength=self.size).reshape(self.shape).astype(np.int64)

    def total(self, column: Floats) -> Floats:
        """Add a column over the readings with a count; NaN where a cell has none."""
        sums = np.bincount(self.counted_cell, weights=column[self.counted], minlength=self.size).astype(np.float64)
        sums[self.empty] = np.nan
        return sums.reshape(self.shape)
