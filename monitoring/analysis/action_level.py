"""Is it over the action level?"""

from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from monitoring.analysis.farm_mean import WeeklyMeans
from monitoring.analysis.rates import as_typed
from monitoring.analysis.shapes import Bools, Floats, Ints, Words, refuse

BELOW, NEAR, OVER, NONE = "below", "near", "over", "none"
MORE, AT_LEAST = "more", "at_least"
NEAR_FROM = Fraction(2, 3)
# Floating sums are right to about 1e-13; what lies this close to a level is compared again in whole numbers.
CLOSE = 1e-9


def compare_with_level(means: WeeklyMeans, level: ArrayLike, comparison: str | Words) -> Words:
    """Say where each mean stands against its action level, exactly at the boundary.

    Parameters
    ----------
    means : WeeklyMeans
    level : number, (n_owners,) or (n_owners, n_weeks) -- action level in the unit of the mean; NaN = none set.
    comparison : "more" or "at_least", or (n_owners,) of them -- "more": over when more than the level (cards, traps);
        "at_least": over when at least the level (leg counts).

    Returns
    -------
    (n_owners, n_weeks) str -- "below", "near" (from two thirds of the level), "over" (over it, or at it where at least
    is asked), or "none" where nothing was counted or no level is set.

    Raises ValueError for a level that is not above zero and for another comparison.

    Notes
    -----
    A mean that differs from a level only by the rounding of floats is compared again with whole numbers: counts, days
    and parts are fractions, and so is the level as it was typed. A mean of exactly 100 specks is not over 100. A zero
    mean is below every level; a missing one is "none". Of an at-least mean the word is the least that is true: read it
    together with `means.at_least`.

    References
    ----------
    The trade's action guidelines (common practice, printed in extension guides): more than 100 specks a card and 7
    days, more than 250 flies a trap and 7 days, at least 10 stable flies an animal on four legs.
    """
    levels = _by_owner_and_week(level, means.mean.shape)
    refuse(levels <= 0, "level", "must be above zero, or NaN for none")
    exact = _ExactMeans(means)
    side = _side_of(exact, levels, Fraction(1))
    over = (side > 0) | ((side == 0) & _reached_at_equal(comparison, levels.shape))
    near = _side_of(exact, levels, NEAR_FROM) >= 0
    words = np.where(over, OVER, np.where(near, NEAR, BELOW))
    return np.where(np.isnan(means.mean) | np.isnan(levels), NONE, words)


def probability_over(low: Floats, high: Floats, level: Floats, degrees: Floats, *, confidence: float = 0.95) -> Floats:
    """Give the probability that a true mean is over its level, from the interval of the mean on the log scale.

    Parameters
    ----------
    low, high : (n,) float -- ends of the interval; NaN = none.
    level : (n,) float -- action level, above zero; NaN = none set.
    degrees : (n,) float -- degrees of freedom of the interval's t, 1 or more where there is an interval.
    confidence : float -- of the interval.

    Returns
    -------
    (n,) float from 0 to 1; NaN where an end or the level is missing, or the lower end is 0 (nothing was caught).

    Notes
    -----
    The interval is read as that of a t distribution of the log of the mean. It says how sure the comparison is; the
    comparison itself is that of `compare_with_level`.

    Examples
    --------
    >>> low, high, level = np.array([80.0, 120.0]), np.array([125.0, 160.0]), np.array([100.0, 100.0])
    >>> probability_over(low, high, level, np.full(2, 8.0)).round(4)
    array([0.5   , 0.9996])
    """
    known = ~(np.isnan(low) | np.isnan(high) | np.isnan(level)) & (np.nan_to_num(low) > 0)
    log_low, log_high, log_level = (np.log(np.where(known, each, 1.0)) for each in (low, high, level))
    free = np.where(known, np.maximum(degrees, 1.0), 1.0)
    # A t interval is middle -/+ t spread; an interval without width is a mean without doubt.
    spread = (log_high - log_low) / 2 / special.stdtrit(free, (1 + confidence) / 2)
    off = (log_low + log_high) / 2 - log_level
    t = off / np.where(spread > 0, spread, 1e-9)
    return np.where(known, special.stdtr(free, np.clip(t, -1e6, 1e6)), np.nan)


def _by_owner_and_week(level: ArrayLike, shape: tuple[int, ...]) -> Floats:
    levels = np.asarray(level, np.float64)
    return np.broadcast_to(levels[:, None] if levels.ndim == 1 else levels, shape)


def _reached_at_equal(comparison: str | Words, shape: tuple[int, ...]) -> Bools:
    words = np.asarray(comparison)
    refuse(~np.isin(np.atleast_1d(words), (MORE, AT_LEAST)), "comparison", 'must be "more" or "at_least"')
    return np.broadcast_to(words[:, None] == AT_LEAST if words.ndim == 1 else words == AT_LEAST, shape)


def _side_of(exact: "_ExactMeans", levels: Floats, share: Fraction) -> Ints:
    """Give 1 where a mean is above this share of its level, 0 at it, -1 below it or where either is missing."""
    mean = exact.means.mean
    bound = levels * float(share)
    known = ~(np.isnan(mean) | np.isnan(bound))
    difference = np.where(known, mean - bound, -np.inf)
    side = np.sign(difference).astype(np.int64)
    for owner, week in np.argwhere(known & (np.abs(difference) <= CLOSE * bound)):
        off = exact.mean(int(owner), int(week)) - share * Fraction(str(float(levels[owner, week])))
        side[owner, week] = (off > 0) - (off < 0)
    return side


@dataclass(frozen=True)
class _ExactMeans:
    """Single means as fractions of whole numbers, from the readings themselves, so that nothing is rounded."""

    means: WeeklyMeans

    @cached_property
    def cells(self) -> tuple[Ints, Ints]:
        """Give the counted readings in the order of their cell (owner and week), and the cells in that order."""
        readings = self.means.station_weeks.readings
        counted = np.flatnonzero(readings.counted)
        cell = self.means.owner[readings.station[counted]] * self.means.mean.shape[1] + readings.week[counted]
        order = np.argsort(cell, kind="stable")
        return counted[order], cell[order]

    def mean(self, owner: int, week: int) -> Fraction:
        """Give the mean over stations of per x sum(count / part) / sum(exposure)."""
        rows, cell = self.cells
        first, last = np.searchsorted(cell, owner * self.means.mean.shape[1] + week + np.arange(2))
        own, station = rows[first:last], self.means.station_weeks.readings.station[rows[first:last]]
        rates = [self._rate(own[station == each], int(each)) for each in np.unique(station)]
        return sum(rates, Fraction(0)) / len(rates)

    def _rate(self, rows: Ints, station: int) -> Fraction:
        readings, per = self.means.station_weeks.readings, self.means.station_weeks.per
        caught = sum(
            (Fraction(float(readings.count[i])) / as_typed(float(readings.part[i])) for i in rows), Fraction(0)
        )
        exposed = sum((Fraction(float(readings.exposure[i])) for i in rows), Fraction(0))
        return Fraction(float(per[station])) * caught / exposed
