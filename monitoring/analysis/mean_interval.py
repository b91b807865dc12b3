"""How sure is a mean of uneven counts?"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from monitoring.analysis.shapes import Floats, refuse

FEWEST = 3
# The share of the scatter that is beyond counting, where there is none: t is then all but normal.
SMALLEST_SHARE = 1e-8
# The half-width, in logs, at which exp would leave the range of floats.
WIDEST = 500.0


@dataclass(frozen=True)
class LogT:
    """The ends of intervals of means, and the degrees of freedom of their t; arrays of one shape, NaN where none is."""

    low: Floats
    high: Floats
    degrees: Floats


def log_t_ends(
    mean: ArrayLike, number: ArrayLike, scatter: ArrayLike, counting: ArrayLike, *, level: float = 0.95
) -> LogT:
    """Give the ends of the log-scale t interval of means of skewed counts.

    Parameters
    ----------
    mean : array -- of the rates of so many devices or animals; NaN = none.
    number : array -- how many there are. [devices, animals]
    scatter : array -- their variance, at least what counting and measuring give.
    counting : array -- the variance that counting alone gives (the mean itself, for whole counts).
    level : float -- confidence, above 0 and below 1.

    Returns
    -------
    LogT -- of the shape that the arguments broadcast to; NaN where the mean is zero or NaN, or is one of fewer than
        three.

    Raises ValueError where `level` is not between 0 and 1.

    Notes
    -----
    With n devices of mean m and squared relative scatter c = s^2/m^2, the interval is
    m exp(c/n -/+ t sqrt(c/n (1 + 2 c/n))): the log-scale t interval, with two terms of the next order in c/n, because
    counts are skewed: without them it covers 90 to 95 %, with ends that lie too low. The shift c/n is at most 1.

    What counting gives is known without a sample: with w the share of s^2 beyond it, t has (n - 1) / sqrt(w) degrees of
    freedom. The theory of a sum of a known and an estimated variance says w^2 (Satterthwaite); that comes out too
    narrow by up to 2 %, since the share is itself uncertain, and n - 1 alone covers 98 to 99 % where flies are few. The
    root is our own choice, by simulation (server/calibrate/farm_mean.py).

    References
    ----------
    Satterthwaite 1946, An approximate distribution of estimates of variance components, Biometrics Bulletin 2 (from
    memory).

    Examples
    --------
    >>> ends = log_t_ends([120.0], [5], [1150.0], [120.0])
    >>> [float(each[0].round(1)) for each in (ends.low, ends.high, ends.degrees)]
    [86.0, 172.9, 4.2]
    """
    _refuse_level(level)
    m, n, s2, known = (np.asarray(each, np.float64) for each in (mean, number, scatter, counting))
    m, n, s2, known = np.broadcast_arrays(m, n, s2, known)
    usable = (n >= FEWEST) & (m > 0)
    m, n, s2, known = (np.where(usable, each, FEWEST) for each in (m, n, s2, known))
    relative = s2 / (n * m**2)
    beyond = np.maximum(1 - known / s2, SMALLEST_SHARE)
    degrees = (n - 1) / np.sqrt(beyond)
    t = special.stdtrit(degrees, (1 + level) / 2)
    # m exp(c/n -/+ t sqrt(c/n (1 + 2 c/n)))
    middle, half = np.minimum(relative, 1.0), np.minimum(t * np.sqrt(relative * (1 + 2 * relative)), WIDEST)
    ends = (m * np.exp(middle - half), m * np.exp(middle + half), degrees)
    return LogT(*(np.where(usable, each, np.nan) for each in ends))


def highest_mean_at_zero(number: ArrayLike, k: float, *, level: float = 0.95) -> Floats:
    """Give the highest mean that so many devices or animals without a fly still leave room for.

    Parameters
    ----------
    number : array -- how many there are, one or more. [devices, animals]
    k : float -- of variance m + m^2/k, above zero.
    level : float -- confidence, above 0 and below 1.

    Returns
    -------
    array of that shape -- the mean at which so many zeros would come up in (1 - level) / 2 of the times. [individuals a
    device or animal]

    Raises ValueError where an argument is out of its range.

    References
    ----------
    For k without end this is -log((1 - level) / 2) / n, the Poisson limit (Garwood 1936, Biometrika 28; from memory).

    Examples
    --------
    >>> highest_mean_at_zero([5, 10], 1.4).round(2)
    array([0.97, 0.42])
    """
    _refuse_level(level)
    if not 0 < k < np.inf:
        raise ValueError("k must be above zero.")
    n = np.asarray(number, np.float64)
    refuse(~((n >= 1) & (n < np.inf)), "number", "must be one or more")
    # (k / (k + m))^(k n) = (1 - level) / 2
    return np.asarray(k * np.expm1(-np.log((1 - level) / 2) / (k * n)), np.float64)


def _refuse_level(level: float) -> None:
    if not 0 < level < 1:
        raise ValueError("level must be above 0 and below 1.")
