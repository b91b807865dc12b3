"""Is the count of legs clear enough to stop?"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from monitoring.analysis.leg_scatter import K_OF_LEGS
from monitoring.analysis.shapes import Bools, Floats, Ints, Words, refuse, refuse_unlike

ENOUGH_BELOW, ENOUGH_OVER, COUNT_ON, NOT_CLEAR, NONE = "enough_below", "enough_over", "count_on", "not_clear", "none"
# At least ten animals whatever they show, at most 15 (common practice: 10 to 15 standing animals).
FEWEST, MOST = 10, 15
# The means that are told apart, as shares of the action level, and the errors at each.
CLEARLY_BELOW, CLEARLY_OVER, ERROR = 0.7, 1.3, 0.1
# No total is low enough to stop.
NO_TOTAL = -1
# A level is typed with a few decimals: ten times 2.3 is 23, whatever floats make of it. No level lies beyond these.
DECIMALS = 6
SMALLEST_LEVEL, LARGEST_LEVEL = 0.001, 1e6


@dataclass(frozen=True)
class StopLines:
    """Two parallel lines: after n animals, stop at a total of slope n + `below` or less, or slope n + `over` or more.

    `below` is negative, `over` positive; all three have the shape of the arguments. [flies]
    """

    slope: Floats
    below: Floats
    over: Floats


@dataclass(frozen=True)
class StopTable:
    """The stop lines in whole flies, for each number of animals from 10 to 15.

    `animals` is (6,); `below`, the largest total that means "enough: below" (-1 where none does), and `over`, the
    smallest that means "enough: at or over", are (..., 6), one row a level; never falling along a row.
    """

    animals: Ints
    below: Ints
    over: Ints


@dataclass(frozen=True)
class LegVerdicts:
    """What each session of counting says about its animals; arrays are (n_sessions,).

    `verdict` is "enough_below", "enough_over", "count_on", "not_clear" or "none" (no animal, or no level). `stopped_at`
    is the number of animals after which it was enough, 0 where it never was. `over` is the plain comparison of all
    animals counted: the mean is at least the level. `mean` is NaN without an animal. [flies an animal]
    """

    verdict: Words
    stopped_at: Ints
    animals: Ints
    mean: Floats
    over: Bools


def stop_lines(
    low_mean: ArrayLike, high_mean: ArrayLike, k: ArrayLike, *, alpha: float = ERROR, beta: float = ERROR
) -> StopLines:
    """Give Wald's lines between two means of negative-binomial counts with one k.

    Parameters
    ----------
    low_mean, high_mean : arrays of a like shape -- m0 and m1, 0 < m0 < m1. [flies an animal]
    k : array of a like shape -- of variance m + m^2/k, above zero; infinity = Poisson.
    alpha : float -- how often "over" may be said at a true mean of m0; above 0.
    beta : float -- how often "below" may be said at a true mean of m1; above 0, together with alpha below 1.

    Returns
    -------
    StopLines

    Notes
    -----
    The errors hold where counting goes on until a line is crossed, and animals are independent of each other.

    References
    ----------
    Wald 1945, Sequential tests of statistical hypotheses, Ann Math Stat 16. Waters 1955, Sequential sampling in forest
    insect surveys, Forest Sci 1.

    Examples
    --------
    >>> lines = stop_lines(7.0, 13.0, 1.4)
    >>> round(float(lines.slope), 6), round(float(lines.below), 6), round(float(lines.over), 6)
    (9.427406, -27.450653, 27.450653)
    """
    m0, m1, each_k = np.broadcast_arrays(*(np.asarray(each, np.float64) for each in (low_mean, high_mean, k)))
    refuse(~((m0 > 0) & np.isfinite(m1)), "low_mean", "must be above zero, and both means finite")
    refuse(~(m1 > m0), "high_mean", "must be above low_mean")
    refuse(~(each_k > 0), "k", "must be above zero")
    if not (alpha > 0 and beta > 0 and alpha + beta < 1):
        raise ValueError("alpha and beta must be above 0 and together below 1.")
    finite_k = np.where(np.isinf(each_k), 1.0, each_k)
    # ln[(k + m1) / (k + m0)], and k times that, which tends to m1 - m0
    log_ratio = np.where(np.isinf(each_k), 0.0, np.log1p((m1 - m0) / (finite_k + m0)))
    steep = np.where(np.isinf(each_k), m1 - m0, finite_k * log_ratio)
    # Waters' D0 is ln[m1 (k + m0) / (m0 (k + m1))].
    distance = np.log(m1 / m0) - log_ratio
    return StopLines(
        slope=steep / distance,
        below=np.log(beta / (1 - alpha)) / distance,
        over=np.log((1 - beta) / alpha) / distance,
    )


def stop_table(level: ArrayLike, k: float = K_OF_LEGS) -> StopTable:
    """Give the totals at which ten to 15 animals are enough to know on which side of the action level they are.

    Parameters
    ----------
    level : array -- the action level, from 0.001 to a million. [flies an animal]
    k : float -- see `stop_lines`; the group's own from 30 leg counts on, see `leg_scatter.leg_scatter`, else 1.4.

    Returns
    -------
    StopTable

    Notes
    -----
    Wald's lines between 0.7 and 1.3 times the level, with errors of 0.1, in whole flies. A total that means "at or
    over" is never one whose mean is below the level, nor the other way round.

    The k of 1.4 is our inference, not a published one: at a mean of 1 fly a leg 47 % of legs carried none, and
    (1 + 1/k)^-k = 0.47. It is of legs; animals are taken to be as uneven, to be careful.

    References
    ----------
    As in `stop_lines`. Lysyk and Schaalje 1992, J Econ Entomol 85, for the 47 %.

    Examples
    --------
    >>> table = stop_table(10.0)
    >>> table.animals.tolist()
    [10, 11, 12, 13, 14, 15]
    >>> table.below.tolist(), table.over.tolist()
    ([66, 76, 85, 95, 104, 113], [122, 132, 141, 151, 160, 169])
    """
    levels = np.asarray(level, np.float64)[..., None]
    refuse(~((levels >= SMALLEST_LEVEL) & (levels <= LARGEST_LEVEL)), "level", "must lie from 0.001 to a million")
    lines = stop_lines(CLEARLY_BELOW * levels, CLEARLY_OVER * levels, k)
    animals = np.arange(FEWEST, MOST + 1)
    plain = least_total_at(levels, animals)
    below = np.minimum(np.floor(lines.slope * animals + lines.below), plain - 1)
    over = np.maximum(np.ceil(lines.slope * animals + lines.over), plain)
    return StopTable(animals, np.maximum(below, NO_TOTAL).astype(np.int64), over.astype(np.int64))


def least_total_at(level: ArrayLike, animals: ArrayLike) -> Floats:
    """Give the smallest whole total of flies on so many animals whose mean is at least the level.

    Examples
    --------
    >>> least_total_at(2.3, [1, 10])
    array([ 3., 23.])
    """
    return np.ceil(np.round(np.asarray(level, np.float64) * np.asarray(animals, np.float64), DECIMALS))


def leg_verdicts(flies: Floats, level: Floats, *, k: float = K_OF_LEGS) -> LegVerdicts:
    """Say of many sessions at once whether enough animals were counted, animal by animal in the order of counting.

    Parameters
    ----------
    flies : (n_sessions, n_animals) float -- whole numbers, zero or more, on all four legs; NaN = no animal (shorter
        sessions end in NaN). [flies an animal]
    level : (n_sessions,) float -- action level, from 0.001 to a million; NaN = none set. [flies an animal]
    k : float -- see `stop_table`.

    Returns
    -------
    LegVerdicts

    Notes
    -----
    Nothing is said before the tenth animal ("count_on"). The first total of 10 to 15 animals that reaches a line
    decides, and is never taken back to "count_on" nor turned into its opposite; animals counted after it only make it
    "not_clear" where they bring the mean of all to the other side of the level. Fifteen animals without a stop are
    "not_clear". An animal without flies is a zero, one that is missing is no animal at all.

    The verdict is about these animals on that day. What all animals of a day share (weather, the hour) is not in it:
    with a day effect of sd 0.3 on the log scale 9 to 18 % of verdicts would be wrong about the herd's usual day.

    References
    ----------
    As in `stop_table`. That a session speaks from the tenth animal on and ends with the 15th is our own choice, after
    the trade's 10 to 15 animals.

    Examples
    --------
    >>> ten_each = np.repeat([[4.0], [10.0], [20.0]], 10, axis=1)
    >>> leg_verdicts(ten_each, np.full(3, 10.0)).verdict.tolist()
    ['enough_below', 'count_on', 'enough_over']
    """
    if flies.ndim != 2:
        raise ValueError(f"flies must have two dimensions, sessions and animals; it has {flies.ndim}.")
    refuse_unlike(level, flies.shape[:1], "level")
    have, known = ~np.isnan(flies), ~np.isnan(level)
    whole = np.where(have & np.isfinite(flies), flies, 0.5)
    refuse(have & ((whole < 0) | (whole != np.floor(whole))), "flies", "must be whole numbers from 0, or NaN for none")
    levels = np.where(known, level, 1.0)
    number = np.cumsum(have, axis=1)
    side, stopped_at = _first_stop(np.cumsum(np.where(have, flies, 0.0), axis=1), number, stop_table(levels, k))
    animals = have.sum(axis=1)
    total = np.where(have, flies, 0.0).sum(axis=1)
    over = known & (animals > 0) & (total >= least_total_at(levels, animals))
    agrees = (side > 0) == over
    verdict = np.select(
        [(animals == 0) | ~known, (side < 0) & agrees, (side > 0) & agrees, (side != 0) | (animals >= MOST)],
        [NONE, ENOUGH_BELOW, ENOUGH_OVER, NOT_CLEAR],
        COUNT_ON,
    )
    mean = np.where(animals > 0, total / np.maximum(animals, 1), np.nan)
    return LegVerdicts(verdict, np.where(known, stopped_at, 0), animals, mean, over)


def _first_stop(total: Floats, number: Ints, table: StopTable) -> tuple[Ints, Ints]:
    """Give the side of the first stop of each session, -1, 0 (none) or 1, and after how many animals it came."""
    place = np.clip(number - FEWEST, 0, MOST - FEWEST)
    within = (number >= FEWEST) & (number <= MOST)
    below = within & (total <= np.take_along_axis(table.below, place, axis=1))
    over = within & (total >= np.take_along_axis(table.over, place, axis=1))
    stops = below | over
    if stops.shape[1] == 0:
        return np.zeros(len(stops), np.int64), np.zeros(len(stops), np.int64)
    first = stops.argmax(axis=1)[:, None]
    side = np.take_along_axis(over.astype(np.int64) - below, first, axis=1)[:, 0]
    return side, np.where(side != 0, np.take_along_axis(number, first, axis=1)[:, 0], 0)
