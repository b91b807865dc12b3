"""After how many weeks does a chart of smoothed weeks first show a signal, by chance or because the level has moved?"""

from functools import lru_cache

import numpy as np
from scipy import optimize

# Gauss-Legendre nodes; with 80 the printed digits of the published tables have long settled.
NODES = 80
LEAST_EXPONENT = -700.0
SMALLEST_WEIGHT, LARGEST_LIMIT = 0.01, 6.0


def average_run_length(weight: float, limit: float, shift: float = 0.0) -> float:
    """Give the mean number of weeks up to the first signal of a two-sided chart of smoothed scores.

    Parameters
    ----------
    weight : float -- weight of the newest week, from 0.01 to 1: z = (1 - weight) z + weight x, from z = 0.
    limit : float -- in standard deviations of z in the long run, sqrt(weight / (2 - weight)), above 0, at most 6; a
        signal is |z| beyond it.
    shift : float -- mean of the scores x, in their standard deviations; 0 = level. They are independent and Gaussian.

    Returns
    -------
    float -- weeks, at least 1.

    Raises ValueError, naming the argument, for what lies outside.

    Notes
    -----
    The run length L(u) from z = u solves L(u) = 1 + (1/w) int L(y) phi((y - (1 - w) u)/w - shift) dy between the limits
    (a Fredholm equation of the second kind); here by Gauss-Legendre quadrature. Weeks without a count are no weeks.

    References
    ----------
    Crowder 1987, A simple method for studying run-length distributions of exponentially weighted moving average charts,
    Technometrics 29:401-407. Lucas and Saccucci 1990, Exponentially weighted moving average control schemes,
    Technometrics 32:1-12.

    Examples
    --------
    >>> round(average_run_length(0.5, 2.0), 2), round(average_run_length(0.5, 2.0, shift=1.0), 2)
    (26.45, 4.91)
    """
    if not SMALLEST_WEIGHT <= weight <= 1:
        raise ValueError(f"weight must lie from {SMALLEST_WEIGHT} to 1.")
    if not 0 < limit <= LARGEST_LIMIT:
        raise ValueError(f"limit must be above 0 and at most {LARGEST_LIMIT:g}.")
    if not np.isfinite(shift):
        raise ValueError("shift must be a finite number.")
    edge = limit * long_run_spread(weight)
    nodes, widths = np.polynomial.legendre.leggauss(NODES)
    ends, widths = nodes * edge, widths * edge
    # From each start, and from zero: the chance density of the next z at each node.
    starts = np.append(ends, 0.0)
    score = (ends[None, :] - (1 - weight) * starts[:, None]) / weight - shift
    density = np.exp(np.maximum(-(score**2) / 2, LEAST_EXPONENT)) / np.sqrt(2 * np.pi)
    step = widths * density / weight
    lengths = np.linalg.solve(np.eye(NODES) - step[:-1], np.ones(NODES))
    return float(1 + step[-1] @ lengths)


@lru_cache(maxsize=64)
def limit_for(weight: float, run_length: float) -> float:
    """Give the limit at which a level farm shows its first signal after so many weeks on average.

    Parameters
    ----------
    weight : float -- as in `average_run_length`.
    run_length : float -- weeks, from 5 to 10,000.

    Returns
    -------
    float -- in standard deviations of the smoothed score in the long run.

    Examples
    --------
    >>> round(limit_for(0.4, 50.0), 3)
    2.229
    """
    if not 5 <= run_length <= 10_000:
        raise ValueError("run_length must lie from 5 to 10,000 weeks.")
    found = optimize.brentq(lambda limit: average_run_length(weight, limit) - run_length, 0.5, LARGEST_LIMIT)
    return float(found)


def long_run_spread(weight: float) -> float:
    """Give the standard deviation of a smoothed score in the long run, sqrt(weight / (2 - weight)).

    Examples
    --------
    >>> round(long_run_spread(0.3), 4)
    0.4201
    """
    return float(np.sqrt(weight / (2 - weight)))
