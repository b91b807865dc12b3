"""By how much did counts fall, from single numbers? And when would they be back?"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from monitoring.analysis.shapes import Bools, Floats, Words, refuse

# Why a result from one pair of numbers carries no interval: nothing says how much such numbers scatter.
ONE_PAIR = "one_pair"


@dataclass(frozen=True)
class FromCounts:
    """What single counts say; arrays have the counts' shape.

    `value` in `unit` ("percent": the fall, negative for a rise; "counts": the rise); NaN where `reason` is not "".
    `reason` is "" , "not_counted" (one of the numbers is missing) or "zero_denominator" (undefined). `why_no_interval`
    is always "one_pair": one pair of numbers carries none (Fleming and Retnakaran 1985, J Econ Entomol 78:1179-1181).
    """

    value: Floats
    reason: Words
    unit: str
    why_no_interval: str = ONE_PAIR


@dataclass(frozen=True)
class Rebound:
    """When counts would be back; see `rebound_time`. `time` is NaN where `reason` is not "": "not_known",
    "nothing_left", "no_fall" or "not_growing".
    """

    time: Floats
    reason: Words


def abbott(untreated: ArrayLike, treated: ArrayLike) -> FromCounts:
    """Give Abbott's corrected efficacy from what is alive after, with and without the work.

    Parameters
    ----------
    untreated, treated : numbers or arrays of one shape, zero or more -- alive (or caught) where nothing was done and
        where the work was done, in one unit: per cent or individuals; NaN = not counted.

    Returns
    -------
    FromCounts -- in per cent.

    Raises ValueError, naming the argument, for what is negative or infinite.

    Notes
    -----
    Nothing alive without the work: undefined, "zero_denominator". More alive with the work than without: negative, and
    kept. It takes both places to have been alike before.

    References
    ----------
    Abbott 1925, A method of computing the effectiveness of an insecticide, J Econ Entomol 18:265-267.

    Examples
    --------
    >>> float(abbott(50, 2).value)  # 50 % dead without, 98 % dead with
    96.0
    """
    c, t = _checked(untreated=untreated, treated=treated)
    # Corrected efficacy is 100 (C - T) / C
    zero = c == 0
    return _told(100 * (c - t) / np.where(zero, 1.0, c), zero, np.isnan(c) | np.isnan(t), "percent")


def henderson_tilton(
    treated_before: ArrayLike, treated_after: ArrayLike, other_before: ArrayLike, other_after: ArrayLike
) -> FromCounts:
    """Give the efficacy where the places were not alike before: a ratio of ratios.

    Parameters
    ----------
    treated_before, treated_after, other_before, other_after : numbers or arrays of one shape, zero or more -- counts
        where the work was done and where nothing was, before and after it; NaN = not counted.

    Returns
    -------
    FromCounts -- in per cent.

    Raises ValueError, naming the argument, for what is negative or infinite.

    Notes
    -----
    Zero before the work at either place, or after it where nothing was done, leaves a ratio undefined:
    "zero_denominator". Negative is kept.

    References
    ----------
    Henderson and Tilton 1955, Tests with acaricides against the brown wheat mite, J Econ Entomol 48:157-161.

    Examples
    --------
    >>> round(float(henderson_tilton(30, 6, 28, 26).value), 2)
    78.46
    """
    tb, ta, cb, ca = _checked(
        treated_before=treated_before, treated_after=treated_after, other_before=other_before, other_after=other_after
    )
    zero = (tb == 0) | (cb == 0) | (ca == 0)
    # 100 (1 - Ta Cb / (Tb Ca))
    left = ta * cb / np.where(zero, 1.0, tb * ca)
    return _told(100 * (1 - left), zero, np.isnan(tb + ta + cb + ca), "percent")


def mulla(
    treated_before: ArrayLike, treated_after: ArrayLike, other_before: ArrayLike, other_after: ArrayLike
) -> FromCounts:
    """Give the same as `henderson_tilton`, in the order in which Mulla's formula is written.

    Parameters, result, refusals and what is undefined as there.

    References
    ----------
    Mulla, Norland, Fanara, Darwazeh and McKean 1971, Control of chironomid midges in recreational lakes, J Econ Entomol
    64:300-307 (from memory).

    Examples
    --------
    >>> round(float(mulla(30, 6, 28, 26).value), 2)
    78.46
    """
    tb, ta, cb, ca = _checked(
        treated_before=treated_before, treated_after=treated_after, other_before=other_before, other_after=other_after
    )
    zero = (tb == 0) | (cb == 0) | (ca == 0)
    # 100 - (C1 / T1) (T2 / C2) 100
    left = (cb / np.where(zero, 1.0, tb)) * (ta / np.where(zero, 1.0, ca))
    return _told(100 - 100 * left, zero, np.isnan(tb + ta + cb + ca), "percent")


def before_after(before: ArrayLike, after: ArrayLike) -> FromCounts:
    """Give by how much a count rose (negative: fell), with nothing to compare it with: weather is still in it.

    Parameters
    ----------
    before, after : numbers or arrays of one shape, zero or more; NaN = not counted.

    Returns
    -------
    FromCounts -- in counts.

    Examples
    --------
    >>> float(before_after(130, 175).value)
    45.0
    """
    b, a = _checked(before=before, after=after)
    return _told(a - b, np.zeros(b.shape, np.bool_), np.isnan(a) | np.isnan(b), "counts")


def difference_in_differences(
    treated_before: ArrayLike, treated_after: ArrayLike, other_before: ArrayLike, other_after: ArrayLike
) -> FromCounts:
    """Give by how much more a count rose than where nothing was done.

    Parameters
    ----------
    treated_before, treated_after, other_before, other_after : as in `henderson_tilton`.

    Returns
    -------
    FromCounts -- in counts.

    Notes
    -----
    It takes weather to add the same number everywhere. Counts move by shares, so where places differ much the ratio of
    ratios is the fairer one.

    Examples
    --------
    >>> float(difference_in_differences(130, 175, 135, 140).value)
    40.0
    """
    tb, ta, cb, ca = _checked(
        treated_before=treated_before, treated_after=treated_after, other_before=other_before, other_after=other_after
    )
    return _told((ta - tb) - (ca - cb), np.zeros(tb.shape, np.bool_), np.isnan(tb + ta + cb + ca), "counts")


def rebound_time(share_gone: ArrayLike, growth: ArrayLike) -> Rebound:
    """Give how long counts that grow at a steady pace take to be back where they were.

    Parameters
    ----------
    share_gone : number or array -- what the work took away, at most 1 (0.75 is three quarters); NaN = not known.
    growth : number or array of that shape -- growth of the log count in a unit of time; NaN = not known.

    Returns
    -------
    Rebound -- in the unit of time of `growth`.

    Raises ValueError for a share above 1, and for what is infinite.

    Notes
    -----
    Each of 99.6, 93.75, 75 and 50 % lasts about twice as long as the next: past a point, more of the same buys little
    time. All gone: "nothing_left" (they come back from elsewhere, at no pace that this knows). No fall: "no_fall". No
    growth: "not_growing".

    References
    ----------
    Common practice for exponential growth.

    Examples
    --------
    >>> np.round(rebound_time([0.9375, 0.75, 0.5], 0.25).time, 2)
    array([11.09,  5.55,  2.77])
    """
    gone, r = np.broadcast_arrays(np.asarray(share_gone, np.float64), np.asarray(growth, np.float64))
    refuse(np.atleast_1d((gone > 1) | np.isinf(gone)), "share_gone", "must be at most 1, or NaN for not known")
    refuse(np.atleast_1d(np.isinf(r)), "growth", "must be a finite number, or NaN for not known")
    why = [np.isnan(gone) | np.isnan(r), gone == 1, gone <= 0, r <= 0]
    reason = np.select(why, ["not_known", "nothing_left", "no_fall", "not_growing"], default="")
    told = reason == ""
    # time = -ln(1 - E) / r, which is zero where E is
    time = -np.log1p(-np.where(told, gone, 0.0)) / np.where(told, r, 1.0)
    return Rebound(np.where(told, time, np.nan), reason)


def _checked(**counts: ArrayLike) -> list[Floats]:
    """Bring the counts to one shape; refuse what is negative or infinite by its name."""
    arrays = np.broadcast_arrays(*(np.asarray(each, np.float64) for each in counts.values()))
    for name, each in zip(counts, arrays, strict=True):
        refuse(np.atleast_1d((each < 0) | np.isinf(each)), name, "must be numbers from 0, or NaN for not counted")
    return list(arrays)


def _told(value: Floats, zero: Bools, missing: Bools, unit: str) -> FromCounts:
    reason = np.select([missing, zero], ["not_counted", "zero_denominator"], default="")
    return FromCounts(np.where(reason == "", value, np.nan), reason, unit)
