"""When do eggs laid on a day become flies, and how often must bedding be cleaned?"""

from dataclasses import dataclass

import numpy as np

from monitoring.analysis.degree_days import by_sine
from monitoring.analysis.normal_temperatures import DayTemperatures
from monitoring.analysis.shapes import Bools, Days, Floats, Ints, Words, refuse
from monitoring.analysis.simulated_flies import Phase

NO_TEMPERATURES, NOT_IN_SIGHT, TOO_HOT = "no_temperatures", "not_in_sight", "too_hot"
# Individuals, and bedding that is warmer or cooler than the air: so much less or more warmth may do. Our own choice.
LEAST, MOST = 0.9, 1.1
# Whoever is not there after so many days is not in sight.
HORIZON = 120
WEEKLY = 7
# Days whose highest temperatures reach this in the mean are called heat: from here on the quick flies of older work
# were seen. Our own choice.
HEAT = 27.0
# A week of fewer known days says nothing of how warm it is.
DAYS_FOR_A_WEEK = 4
# So that 2 + 2 days at half of it make a day, whatever the rounding.
NEARLY = 1e-9


@dataclass(frozen=True)
class Line:
    """One reading of what was observed: development grows with warmth above a threshold, up to `fastest`. [C]"""

    phase: Phase
    fastest: float

    @classmethod
    def through(cls, cool: tuple[float, float], warm: tuple[float, float], fastest: float) -> "Line":
        """Draw the line of 1 / days on temperature through two points (temperature, days)."""
        return cls(Phase.through(cool, warm), fastest)

    def warmth(self, lowest: Floats, highest: Floats) -> Floats:
        """Give each day's share of what the line asks for (single sine, horizontal cutoff); NaN = not known."""
        return by_sine(lowest, highest, self.phase.threshold, self.fastest) / self.phase.degree_days


@dataclass(frozen=True)
class Development:
    """How a kind of fly develops: the lines that can be drawn through what was observed, from which a range comes.

    `deadly` is the mean temperature above which no adults come, None where none was published.
    """

    name: str
    to_pupation: tuple[Line, ...]
    to_adult: tuple[Line, ...]
    deadly: float | None = None


# The warmest temperature of either kind's observations; above it nothing is taken to go faster.
WARMEST = 35.0
# House flies in manure, days to pupation and to the adult at 16 and 35 C, no adults above 38 C: Lysyk and Axtell 1987,
# Can Entomol 119. The line between those points is our own interpolation. Older work saw adults after 6 to 7 days at
# 27 to 32 C (Hogsette, citing work of 1940), where that line gives 10 to 13: so a second line goes through the same
# cool point and 6 days at 27 C, no faster above. That the quick ones spend the same share as maggots is our choice.
AT_16, AT_35, QUICK_AT_27 = (26.8, 43.1), (5.2, 8.8), 6.0
HOUSE_FLY = Development(
    name="house fly",
    to_pupation=(
        Line.through((16, AT_16[0]), (35, AT_35[0]), WARMEST),
        Line.through((16, AT_16[0]), (27, QUICK_AT_27 * AT_35[0] / AT_35[1]), 27.0),
    ),
    to_adult=(
        Line.through((16, AT_16[1]), (35, AT_35[1]), WARMEST),
        Line.through((16, AT_16[1]), (27, QUICK_AT_27), 27.0),
    ),
    deadly=38.0,
)
# Stable flies: 12.2 C and 225 degree-days, observed 71 days at 15 C and 13 at 30 C: Gilles, David and Duvallet 2005,
# J Med Entomol 42. Near the threshold the line is poor (80.4 days at 15 C), so a second one goes through what was
# observed. No time to pupation is known to us: the share is that of house flies at 16 C, our own choice.
AS_MAGGOT = AT_16[0] / AT_16[1]
STABLE_FLY = Development(
    name="stable fly",
    to_pupation=(
        Line(Phase(12.2, AS_MAGGOT * 225), WARMEST),
        Line.through((15, AS_MAGGOT * 71), (30, AS_MAGGOT * 13), WARMEST),
    ),
    to_adult=(Line(Phase(12.2, 225), WARMEST), Line.through((15, 71), (30, 13), WARMEST)),
)


@dataclass(frozen=True)
class StageDays:
    """How long a stage takes in days like those given, (n_places,) each; NaN where it can't be told.

    `reason` is "" (both are there), "no_temperatures", or "not_in_sight": too cold for the quickest, or (with
    `shortest` there) for the slowest.
    """

    shortest: Floats
    longest: Floats
    reason: Words


@dataclass(frozen=True)
class CleanOut:
    """How often bedding must be cleaned so that no maggot leaves it before, (n_places,) each.

    `every` is the longest interval in whole days, NaN where `maggots` says why; `seven_is_too_long` where a clean-out
    once a week can come too late. `in_heat`: the days' highest temperatures are 27 C or more in the mean.
    """

    maggots: StageDays
    every: Floats
    in_heat: Bools

    @property
    def seven_is_too_long(self) -> Bools:
        return np.less(self.every, WEEKLY)


@dataclass(frozen=True)
class DateRange:
    """From which day to which, (n_places, n_laid) datetime64[D] each; NaT where `why_no_...` is not empty.

    Reasons: "no_temperatures" (not known, or they end too early), "not_in_sight" (not within 120 days), "too_hot".
    """

    earliest: Days
    latest: Days
    why_no_earliest: Words
    why_no_latest: Words


@dataclass(frozen=True)
class FromEggs:
    """When eggs laid on some days have left the bedding as maggots, and when they are flies."""

    laid: Days
    maggots_leave: DateRange
    flies: DateRange


def stage_days(lines: tuple[Line, ...], week: DayTemperatures) -> StageDays:
    """Give how long a stage takes if all days are like those given.

    Parameters
    ----------
    lines : the lines of a stage, as HOUSE_FLY.to_adult.
    week : DayTemperatures -- (n_places, n_days), the days of a week, or one day that stays; NaN = not known. [C]

    Returns
    -------
    StageDays -- from the quickest line with a tenth less warmth to the slowest with a tenth more. [days]

    Notes
    -----
    Where less than four days of a week (or the only one) are known it says "no_temperatures". A missing day is left
    out of the mean, not taken as cold. Where no day is warm enough, or the time is beyond 120 days: "not_in_sight".

    References
    ----------
    Lysyk and Axtell 1987, Can Entomol 119. Gilles, David and Duvallet 2005, J Med Entomol 42. What is our own choice
    stands beside the constants of this module.

    Examples
    --------
    >>> at_30 = DayTemperatures.of(np.datetime64("2026-07-01"), [30.0], [30.0])
    >>> taken = stage_days(STABLE_FLY.to_adult, at_30)  # 12.6 days by the line, 13 observed
    >>> round(float(taken.shortest[0]), 1), round(float(taken.longest[0]), 1)
    (11.4, 14.3)
    """
    shares = np.stack([_mean_known(line.warmth(week.lowest, week.highest)) for line in lines])
    least, most = (_days_at(each, asked) for each, asked in ((shares.max(axis=0), LEAST), (shares.min(axis=0), MOST)))
    told = week.is_known.sum(axis=1) >= min(DAYS_FOR_A_WEEK, max(week.lowest.shape[1], 1))
    reason = np.where(np.isnan(most), NOT_IN_SIGHT, "")
    return StageDays(
        shortest=np.where(told, least, np.nan),
        longest=np.where(told, most, np.nan),
        reason=np.where(told, reason, NO_TEMPERATURES),
    )


def clean_out_interval(kind: Development, week: DayTemperatures) -> CleanOut:
    """Give the longest interval between clean-outs that still takes the maggots out before they leave the bedding.

    Parameters
    ----------
    kind : HOUSE_FLY or STABLE_FLY.
    week : DayTemperatures -- (n_places, n_days), the days of a week, known or normal. [C]

    Returns
    -------
    CleanOut

    Notes
    -----
    The time that counts is from egg to pupation: maggots leave the wet bedding to pupate in dry edges, and a later
    clean-out misses them (common practice, no source; days to pupation as above). The interval is the last whole day
    before the shortest time, so that the quickest are taken out too; never less than one day.

    Examples
    --------
    >>> week = DayTemperatures.of(np.datetime64("2026-07-06"), np.full(7, 24.0), np.full(7, 38.0))
    >>> heat = clean_out_interval(HOUSE_FLY, week)
    >>> heat.every.tolist(), heat.seven_is_too_long.tolist()
    ([3.0], [True])
    """
    maggots = stage_days(kind.to_pupation, week)
    return CleanOut(
        maggots=maggots,
        every=np.maximum(np.ceil(maggots.shortest - NEARLY) - 1, 1.0),
        in_heat=~np.isnan(maggots.shortest) & (_mean_known(week.highest) >= HEAT),
    )


def flies_from_eggs(kind: Development, temperatures: DayTemperatures, laid: Days) -> FromEggs:
    """Give when eggs laid on some days can be flies, and when their maggots leave the bedding.

    Parameters
    ----------
    kind : HOUSE_FLY or STABLE_FLY.
    temperatures : DayTemperatures -- (n_places, n_days), known days and normal ones after them
        (see `normal_temperatures.continued`). [C]
    laid : (n_laid,) datetime64[D] -- the days on which eggs are laid.

    Returns
    -------
    FromEggs -- (n_places, n_laid) dates.

    Raises ValueError where `laid` holds NaT or isn't one-dimensional.

    Notes
    -----
    Degree-days of each day by the single sine method with a horizontal cutoff. The earliest day reckons with eggs laid
    as the day began, the quickest line and a tenth less warmth; the latest with eggs laid as it ended, the slowest line
    and a tenth more. Whole days: anything finer would be false precision. Where a day that is needed is not known, or
    the temperatures end, there is a reason and no date. House flies whose days, from the egg to the earliest date, were
    above 38 C in the mean get none: "too_hot".

    References
    ----------
    As for `stage_days`; degree-days as for `degree_days.by_sine`.

    Examples
    --------
    >>> july = DayTemperatures.of(np.datetime64("2026-07-01"), np.full(60, 30.0), np.full(60, 30.0))
    >>> flies = flies_from_eggs(STABLE_FLY, july, np.array(["2026-07-01"], "M8[D]")).flies
    >>> str(flies.earliest[0, 0]), str(flies.latest[0, 0])
    ('2026-07-12', '2026-07-16')
    """
    laid = np.asarray(laid, "M8[D]")
    if laid.ndim != 1:
        raise ValueError("laid must have one dimension.")
    refuse(np.isnat(laid), "laid", "must be days")
    start = (laid - temperatures.first).astype(np.int64)
    leave, flies = (_dates(lines, temperatures, start) for lines in (kind.to_pupation, kind.to_adult))
    return FromEggs(laid, leave, _none_where_too_hot(kind, temperatures, start, flies))


def _mean_known(values: Floats) -> Floats:
    """Give the mean over the known days, 0 where there is none: the caller looks at how many are known."""
    have = ~np.isnan(values)
    mean: Floats = np.where(have, values, 0.0).sum(axis=1) / np.maximum(have.sum(axis=1), 1)
    return mean


def _days_at(share: Floats, asked: float) -> Floats:
    """Give asked / share a day; NaN where that is beyond the horizon."""
    in_sight = share * HORIZON >= asked
    return np.where(in_sight, asked / np.where(in_sight, share, 1.0), np.nan)


def _dates(lines: tuple[Line, ...], temperatures: DayTemperatures, start: Ints) -> DateRange:
    sums = [_before(line.warmth(temperatures.lowest, temperatures.highest)) for line in lines]
    unknown = _before(np.where(temperatures.is_known, 0.0, 1.0))
    first = np.min([_day_reached(each, start, 0, LEAST) for each in sums], axis=0)
    last = np.max([_day_reached(each, start, 1, MOST) for each in sums], axis=0)
    whys = [_why_none(each, start, unknown) for each in (first, last)]
    days = [
        np.where(why == "", temperatures.first + np.minimum(day, unknown.shape[1]), np.datetime64("NaT", "D"))
        for day, why in zip((first, last), whys, strict=True)
    ]
    return DateRange(*days, *whys)


def _before(values: Floats) -> Floats:
    """Give the sum of what stands before each column, unknown days adding nothing: (n_places, n_days + 1)."""
    known = np.where(np.isnan(values), 0.0, values)
    return np.concatenate([np.zeros((values.shape[0], 1)), np.cumsum(known, axis=1)], axis=1)


def _day_reached(sums: Floats, start: Ints, wait: int, asked: float) -> Ints:
    """Give the column in which the sum since `start` (or the day after it) reaches `asked`; n_days where none does."""
    n_days = sums.shape[1] - 1
    begin = np.clip(start + wait, 0, n_days)
    target = sums[:, begin] + asked - NEARLY
    reached = (sums[:, None, 1:] < target[:, :, None]).sum(axis=2)
    return np.asarray(np.maximum(reached, begin), np.int64)


def _why_none(day: Ints, start: Ints, unknown: Floats) -> Words:
    """Say why there is no date: a day that is not known on the way, the end of the temperatures, or the horizon."""
    n_days = unknown.shape[1] - 1
    begin, end = np.clip(start, 0, n_days), np.minimum(day + 1, np.clip(start + HORIZON, 0, n_days))
    missing = np.take_along_axis(unknown, np.maximum(end, begin), axis=1) - unknown[:, begin] > 0
    outside = (start < 0) | (start >= n_days)
    ends_early = (day >= n_days) & (start + HORIZON > n_days)
    late = (day >= n_days) | (day - start > HORIZON)
    return np.where(missing | outside | ends_early, NO_TEMPERATURES, np.where(late, NOT_IN_SIGHT, ""))


def _none_where_too_hot(kind: Development, temperatures: DayTemperatures, start: Ints, flies: DateRange) -> DateRange:
    if kind.deadly is None:
        return flies
    sums = _before((temperatures.lowest + temperatures.highest) / 2)
    n_days = sums.shape[1] - 1
    begin = np.clip(start, 0, n_days)
    there = flies.why_no_earliest == ""
    end = np.where(there, (flies.earliest - temperatures.first).astype(np.int64) + 1, begin + 1)
    total = np.take_along_axis(sums, np.clip(end, 0, n_days), axis=1) - sums[:, begin]
    hot = there & (total > kind.deadly * (end - begin))
    early, late = (np.where(hot, np.datetime64("NaT", "D"), each) for each in (flies.earliest, flies.latest))
    return DateRange(
        early, late, *(np.where(hot, TOO_HOT, each) for each in (flies.why_no_earliest, flies.why_no_latest))
    )
