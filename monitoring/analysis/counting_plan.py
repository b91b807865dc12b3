"""How many cards, traps or animals are enough?"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from monitoring.analysis.owners import OwnerSums
from monitoring.analysis.rates import StationWeeks
from monitoring.analysis.shapes import Floats, Ints, Words, refuse, refuse_outside, refuse_unlike
from monitoring.analysis.taylor import PUBLISHED_A

# Below so many degrees of freedom (five devices in one week) a farm's own variance says next to nothing.
DEGREES_FOR_OWN = 4
OWN, TAYLOR, PUBLISHED, NONE = "own", "taylor", "published", "none"
TOO_FEW_DATA = "too_few_data"
SAMPLES_FOR_A_LINE = 3
# Beyond these nothing is counted: what lies outside was typed or passed wrongly.
MOST, FINEST, COARSEST, STEEPEST = 1e9, 0.001, 10.0, 10
# Powers are taken as exp of sums of logs, kept where floats can hold them: exp(500) is 1e217.
LARGEST_LOG = 500.0
# A plan of 12.0000000001 devices is one of 12.
ROUNDED_TO = 9


@dataclass(frozen=True)
class Scatter:
    """How uneven each owner's devices are: `relative_variance` s^2/m^2 (NaN = not known) on `degrees` of freedom.

    Both are (n_owners,).
    """

    relative_variance: Floats
    degrees: Ints


@dataclass(frozen=True)
class CountingPlan:
    """How many devices each owner needs, and how exact it is with those it has; arrays are (n_owners,).

    `needed` is a whole number, `reached` the standard error over the mean with the devices there are now (NaN where
    there are none); both are NaN where nothing says how uneven the devices are, and `reason` is then "too_few_data",
    else "". `source` says where the scatter comes from: "own", "taylor", "published" or "none".
    """

    needed: Floats
    reached: Floats
    relative_variance: Floats
    source: Words
    reason: Words


@dataclass(frozen=True)
class Crowding:
    """The line of mean crowding on the mean, alpha + beta m; NaN and "too_few_data" as `reason` where there is none."""

    alpha: float
    beta: float
    samples: int
    reason: str


@dataclass(frozen=True)
class DecisionLines:
    """Totals between which counting goes on: below `low` it is below the level, over `high` it is over."""

    low: Floats
    high: Floats


def scatter_between_devices(station_weeks: StationWeeks, owner: Ints, n_owners: int) -> Scatter:
    """Give each owner's own s^2/m^2 between its devices, pooled over its weeks.

    Parameters
    ----------
    station_weeks : StationWeeks -- (n_stations, n_weeks).
    owner : (n_stations,) int -- whose station it is: the index of a farm (or facility) and method, from 0.
    n_owners : int

    Returns
    -------
    Scatter -- NaN on 0 degrees where no week can say.

    Notes
    -----
    Each week gives s^2/m^2 over its stations on one degree of freedom fewer than stations; weeks weigh by them. A week
    without anything caught has no s^2/m^2 and is left out; so is one with an at-least count, whose scatter nobody saw.
    A station without a count that week is left out, never taken as zero. Stations that are always high count as scatter
    too: it is what the mean over so many places carries.
    """
    n_stations, n_weeks = station_weeks.rate.shape
    refuse_unlike(owner, (n_stations,), "owner")
    refuse_outside(owner, n_owners, "owner")
    have = ~np.isnan(station_weeks.rate)
    add = OwnerSums(owner, (n_owners, n_weeks))
    stations = add(have)
    mean = add(np.where(have, station_weeks.rate, 0.0)) / np.maximum(stations, 1)
    usable = (stations >= 2) & (mean > 0) & (add(station_weeks.at_least) == 0)
    counted = have & usable[owner]
    off = np.where(counted, station_weeks.rate / np.where(usable, mean, 1.0)[owner] - 1, 0.0)
    # (n - 1) s^2/m^2 of a week is the sum of (r/m - 1)^2.
    squares = add(off**2).sum(axis=1)
    degrees = np.where(usable, stations - 1, 0).sum(axis=1).astype(np.int64)
    return Scatter(np.where(degrees > 0, squares / np.maximum(degrees, 1), np.nan), degrees)


def scatter_by_taylor(mean: ArrayLike, a: float, b: float) -> Floats:
    """Give s^2/m^2 = a m^(b-2) at a mean, from a group's power law s^2 = a m^b.

    Parameters
    ----------
    mean : array -- zero or more; NaN = not known. [individuals a device]
    a, b : float -- a above zero, b from -10 to 10.

    Returns
    -------
    array of that shape; NaN where the mean is zero or not known: the law says nothing there.

    References
    ----------
    Taylor 1961, Aggregation, variance and the mean, Nature 189.

    Examples
    --------
    >>> scatter_by_taylor([1.0, 4.0, 0.0], 3.0, 1.0)
    array([3.  , 0.75,  nan])
    """
    _refuse_law(a, b)
    means = np.asarray(mean, np.float64)
    refuse((means < 0) | np.isinf(means), "mean", "must be a number from 0, or NaN for none")
    usable = means > 0
    power = _power(np.log(a) + (b - 2) * np.log(np.where(usable, means, 1.0)))
    return np.where(usable, power, np.nan)


def units_needed(relative_variance: ArrayLike, precision: float, *, t: float = 1.0) -> Floats:
    """Give how many devices or animals bring the mean to a relative precision.

    Parameters
    ----------
    relative_variance : array -- s^2/m^2 between them, zero or more; NaN = not known.
    precision : float -- D: the standard error over the mean with t = 1; with Student's or the normal t, half the width
        of the interval over the mean.
    t : float -- above zero.

    Returns
    -------
    array of that shape -- whole numbers, at least 1; NaN where the scatter is not known.

    References
    ----------
    Karandinos 1976, Optimum sample size and comments on some published formulae, Bull Entomol Soc Am 22, with Taylor's
    law for s^2: n = (t/D)^2 a m^(b-2).

    Examples
    --------
    >>> units_needed([PUBLISHED_A["card"], PUBLISHED_A["trap"]], 0.15)
    array([12.,  7.])
    """
    _refuse_precision(precision)
    _refuse_unless_positive(t, "t")
    scatter = _scatter(relative_variance)
    # n = (t/D)^2 s^2/m^2
    return np.maximum(np.ceil(np.round((t / precision) ** 2 * scatter, ROUNDED_TO)), 1.0)


def precision_reached(relative_variance: ArrayLike, units: ArrayLike) -> Floats:
    """Give the standard error over the mean with so many devices or animals.

    Parameters
    ----------
    relative_variance : array -- s^2/m^2 between them, zero or more; NaN = not known.
    units : array of a like shape -- how many were counted, zero or more.

    Returns
    -------
    array -- NaN where the scatter is not known or nothing was counted.

    Examples
    --------
    >>> np.round(precision_reached([0.27, 0.1575], 5), 3)
    array([0.232, 0.177])
    """
    scatter, n = np.broadcast_arrays(_scatter(relative_variance), np.asarray(units, np.float64))
    refuse(~((n >= 0) & (n <= MOST)), "units", "must be a number from 0")
    # SE/m = sqrt(s^2/m^2 / n)
    return np.where(n > 0, np.sqrt(scatter / np.where(n > 0, n, 1.0)), np.nan)


def counting_plan(
    scatter: Scatter,
    mean: Floats,
    devices: Ints,
    *,
    method: str,
    precision: float,
    taylor: tuple[float, float] | None = None,
) -> CountingPlan:
    """Say how many devices each owner needs for a precision, and which it has now.

    Parameters
    ----------
    scatter : Scatter -- (n_owners,); see `scatter_between_devices`.
    mean : (n_owners,) float -- this week's mean, zero or more; NaN = not counted.
    devices : (n_owners,) int -- how many devices were counted, zero or more.
    method : "card", "trap" or "leg" -- of all of them.
    precision : float -- the standard error over the mean that is wanted, such as 0.2.
    taylor : (a, b) of the group's own power law for the method, best its `mean_a`; None where it has none.

    Returns
    -------
    CountingPlan

    Notes
    -----
    The farm's own scatter goes first, where it rests on four degrees of freedom (five devices in one week); else the
    group's law at this week's mean; else the printed precision of the method. A mean of zero has no relative precision:
    the law gives nothing there, what is printed still does. Leg counts have no printed one: "too_few_data".

    References
    ----------
    Gerry et al. 2011, J Econ Entomol 104(3), for what is printed.

    Examples
    --------
    >>> nobody_knows = Scatter(np.array([np.nan]), np.array([0]))
    >>> counting_plan(nobody_knows, np.array([80.0]), np.array([5]), method="card", precision=0.15).needed
    array([12.])
    """
    for values, name in ((scatter.degrees, "degrees"), (mean, "mean"), (devices, "devices")):
        refuse_unlike(values, scatter.relative_variance.shape, name)
    own = np.where(scatter.degrees >= DEGREES_FOR_OWN, scatter.relative_variance, np.nan)
    law = np.full(mean.shape, np.nan) if taylor is None else scatter_by_taylor(mean, *taylor)
    # What is printed has b = 2, so that its a is s^2/m^2 at every mean.
    printed = np.full(mean.shape, PUBLISHED_A.get(method, np.nan))
    which = [~np.isnan(own), ~np.isnan(law), ~np.isnan(printed)]
    known = np.select(which, [own, law, printed], np.nan)
    return CountingPlan(
        needed=units_needed(known, precision),
        reached=precision_reached(known, devices),
        relative_variance=known,
        source=np.select(which, [OWN, TAYLOR, PUBLISHED], NONE),
        reason=np.where(np.isnan(known), TOO_FEW_DATA, ""),
    )


def stop_total(units: ArrayLike, precision: float, a: float, b: float) -> Floats:
    """Give the total at which counting may stop for a precision, after so many devices or animals (Green's stop line).

    Parameters
    ----------
    units : array -- how many were counted so far, one or more.
    precision : float -- D, the standard error over the mean that is wanted.
    a, b : float -- of the power law s^2 = a m^b; a above zero, b above 0 and at most 2.

    Returns
    -------
    array of that shape -- once the total is at least this, stop.

    Notes
    -----
    With b = 2 the total does not matter: from n = a/D^2 on any total will do (0), before it none (infinity). Above 2
    scatter grows faster than the mean and no line of this kind exists: refused.

    References
    ----------
    Green 1970, On fixed precision level sequential sampling, Res Popul Ecol 12.

    Examples
    --------
    >>> np.round(stop_total([5, 10], 0.25, 3.05, 1.02), 4)
    array([51.1226, 50.4045])
    >>> stop_total([3, 4], 0.5, 1.0, 2.0)
    array([inf,  0.])
    """
    _refuse_law(a, b)
    _refuse_precision(precision)
    if not 0 < b <= 2:
        raise ValueError("b must be above 0 and at most 2.")
    n = _from_one(units)
    if b == 2:
        return np.where(np.round(n - a / precision**2, ROUNDED_TO) >= 0, 0.0, np.inf)
    # T(n) = (D^2/a)^(1/(b-2)) n^((b-1)/(b-2))
    return _power((2 * np.log(precision) - np.log(a) + (b - 1) * np.log(n)) / (b - 2))


def crowding_line(mean: Floats, variance: Floats) -> Crowding:
    """Fit the line of mean crowding on the mean, m + s^2/m - 1 = alpha + beta m, by least squares.

    Parameters
    ----------
    mean, variance : (n,) float -- of n samples (farm-weeks); zero or more, NaN = not known.

    Returns
    -------
    Crowding

    Notes
    -----
    A sample in which nothing was caught has no crowding and is left out, as is one that is not known. Fewer than three
    samples, or three of one mean, give no line: "too_few_data". For a Poisson alpha is 0 and beta 1; for a negative
    binomial with a common k alpha is 0 and beta 1 + 1/k.

    References
    ----------
    Lloyd 1967, Mean crowding, J Anim Ecol 36. Iwao 1968, A new regression method for analyzing the aggregation pattern
    of animal populations, Res Popul Ecol 10.

    Examples
    --------
    >>> line = crowding_line(np.array([1.0, 2.0, 4.0]), np.array([2.0, 6.0, 20.0]))
    >>> round(line.alpha, 6) + 0, round(line.beta, 6)
    (0.0, 2.0)
    """
    refuse_unlike(variance, mean.shape, "variance")
    for values, name in ((mean, "mean"), (variance, "variance")):
        refuse((values < 0) | np.isinf(values), name, "must be a number from 0, or NaN for none")
    use = (mean > 0) & ~np.isnan(variance)
    m, n = mean[use], int(use.sum())
    if n < SAMPLES_FOR_A_LINE or np.ptp(m) == 0:
        return Crowding(float("nan"), float("nan"), n, TOO_FEW_DATA)
    crowding = m + variance[use] / m - 1
    off = m - m.mean()
    beta = float((off * crowding).sum() / (off**2).sum())
    return Crowding(float(crowding.mean() - beta * m.mean()), beta, n, "")


def decision_lines(units: ArrayLike, level: float, alpha: float, beta: float, *, t: float = 1.645) -> DecisionLines:
    """Give the totals at which a count is clearly below or over a level (Iwao's decision lines).

    Parameters
    ----------
    units : array -- how many were counted so far, one or more.
    level : float -- m0, above zero. [individuals a device or animal]
    alpha, beta : float -- of mean crowding on the mean; see `crowding_line`. The variance that they give at the level
        must be above zero.
    t : float -- above zero; 1.645 leaves 5 % beyond each line at a true mean of the level.

    Returns
    -------
    DecisionLines -- arrays of that shape; a `low` below zero: no total is low enough yet.

    References
    ----------
    Iwao 1975, A new method of sequential sampling to classify populations relative to a critical density, Res Popul
    Ecol 16.

    Examples
    --------
    >>> lines = decision_lines([4, 100], 4.0, 0.0, 1.0, t=2.0)
    >>> lines.low, lines.high
    (array([  8., 360.]), array([ 24., 440.]))
    """
    _refuse_unless_positive(level, "level")
    _refuse_unless_positive(t, "t")
    n = _from_one(units)
    # s^2 = (alpha + 1) m + (beta - 1) m^2, from mean crowding m + s^2/m - 1 = alpha + beta m
    variance = (alpha + 1) * level + (beta - 1) * level**2
    if not 0 < variance < np.inf:
        raise ValueError("alpha and beta must give a variance above zero at the level.")
    # T(n) = n m0 -/+ t sqrt(n s^2)
    half = t * np.sqrt(n * variance)
    return DecisionLines(n * level - half, n * level + half)


def _power(log: Floats) -> Floats:
    return np.exp(np.clip(log, -LARGEST_LOG, LARGEST_LOG))


def _scatter(relative_variance: ArrayLike) -> Floats:
    scatter = np.asarray(relative_variance, np.float64)
    wrong = (scatter < 0) | (scatter > np.exp(LARGEST_LOG))
    refuse(wrong, "relative_variance", "must be a number from 0, or NaN for not known")
    return scatter


def _from_one(units: ArrayLike) -> Floats:
    n = np.asarray(units, np.float64)
    refuse(~((n >= 1) & (n <= MOST)), "units", "must be a number from 1")
    return n


def _refuse_law(a: float, b: float) -> None:
    _refuse_unless_positive(a, "a")
    if not -STEEPEST <= b <= STEEPEST:
        raise ValueError(f"b must lie from -{STEEPEST} to {STEEPEST}.")


def _refuse_unless_positive(value: float, name: str) -> None:
    if not 0 < value <= MOST:
        raise ValueError(f"{name} must be above zero and at most {MOST:.0f}.")


def _refuse_precision(precision: float) -> None:
    if not FINEST <= precision <= COARSEST:
        raise ValueError(f"precision must lie from {FINEST} to {COARSEST:.0f}; 0.15 is 15 % of the mean.")
