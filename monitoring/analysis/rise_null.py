"""How large a change do level farms show by chance? Drawn, for the test of `rise.py`."""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy import optimize, special

from monitoring.analysis.correlated_weeks import WeekScatter, since
from monitoring.analysis.rise_statistic import STARTS, t_of_changes
from monitoring.analysis.shapes import Floats

# A farm's own test asks where one in twenty lies; a list of many farms asks far out.
DRAWS, DRAWS_FOR_MANY, MANY = 100_000, 400_000, 2_000
SEED = 20260601
# Beyond the largest hundredth the tail is fitted: on a list of 20,000 farms a name needs p below five in a million.
TAIL = 0.01


@dataclass(frozen=True)
class NullDraws:
    """Drawn statistics of level farms in order, (n_draws,): the largest t up, and the largest t down.

    `degrees` are those of one of them: the farm's own and the network's.
    """

    rise: NDArray[np.float32]
    fall: NDArray[np.float32]
    degrees: float

    def p_of_rise(self, statistic: Floats) -> Floats:
        """Give the share of level farms with so large a rise."""
        return _share_beyond(self.rise, statistic, self.degrees)

    def p_of_fall(self, statistic: Floats) -> Floats:
        """Give the share of level farms with so large a fall."""
        return _share_beyond(self.fall, statistic, self.degrees)


@lru_cache(maxsize=128)
def null_draws(n_weeks: int, noise: float, scatter: WeekScatter, worth: float, draws: int = DRAWS) -> NullDraws:
    """Draw level farms and give their statistics.

    Parameters
    ----------
    n_weeks : int -- weeks counted, one after another.
    noise : float -- variance that counting gives the log of a week, above 0.
    scatter : WeekScatter -- how weeks scatter.
    worth : float -- degrees of freedom of the network's scale beside a farm's own, as in `rise_statistic.changes_of`.
    draws : int -- how many.

    Returns
    -------
    NullDraws -- drawn with a seed of their own: the same call gives the same p-values on every machine.

    Notes
    -----
    A week's effect is a Gaussian shock, correlated from week to week, and the log of a gamma variate of the variance
    that counting gives: the mean of a few negative-binomial counts is close to a gamma, whose log leans to the left.
    Taking counting for Gaussian made 3.4 to 5 % of false alarms where 5 % were meant.
    """
    rng = np.random.default_rng(SEED)
    when = np.asarray(np.arange(n_weeks) - (n_weeks - 1.0), np.float64)
    apart = np.abs(when[:, None] - when[None, :])
    shocks = scatter.shock**2 * np.where(apart == 0, 1.0, scatter.stays**apart)
    variance = scatter.counting * noise
    covariance = shocks + (variance + 1e-9) * np.eye(n_weeks)
    weather = rng.standard_normal((draws, n_weeks)) @ np.linalg.cholesky(shocks + 1e-12 * np.eye(n_weeks)).T
    effects = np.asarray(weather + _log_gamma(rng, variance, weather.shape), np.float64)
    each = _statistics(effects, np.asarray(covariance, np.float64), when, worth).astype(np.float32)
    return NullDraws(np.sort(each.max(axis=1)), np.sort((-each).max(axis=1)), n_weeks - 2.0 + worth)


def _statistics(draws: Floats, covariance: Floats, when: Floats, worth: float) -> Floats:
    lower = np.linalg.cholesky(covariance)
    columns = np.stack([np.ones(when.size), *(since(when, start) for start in STARTS)], axis=1)
    fixed = np.linalg.solve(lower, columns)
    effects = np.linalg.solve(lower, draws.T).T
    together = np.concatenate(
        [
            np.broadcast_to(fixed[None, :, :1], (len(draws), when.size, 1)),
            effects[:, :, None],
            np.broadcast_to(fixed[None, :, 1:], (len(draws), when.size, len(STARTS))),
        ],
        axis=2,
    )
    return t_of_changes(together, np.full(len(draws), when.size - 2.0), worth)


def _log_gamma(rng: np.random.Generator, variance: float, shape: tuple[int, ...]) -> Floats:
    """Draw logs of gamma variates with mean zero and this variance, which is trigamma of their shape."""
    alpha = float(optimize.brentq(lambda x: special.polygamma(1, x) - variance, 1e-3, 1e9))
    return np.asarray(np.log(np.maximum(rng.gamma(alpha, size=shape), 1e-300)) - special.digamma(alpha))


def _share_beyond(ordered: NDArray[np.float32], statistic: Floats, degrees: float) -> Floats:
    """Give the share of draws at or above each statistic; far beyond the last hundredth by a fitted tail.

    The tail of t falls as a power of 1 + t^2/degrees, which is that of a normal where degrees are many.
    """
    number = len(ordered)
    # What is next to nothing would not fit the draws' short floats.
    short = np.where(np.abs(statistic) < 1e-30, 0.0, statistic).astype(np.float32)
    share = (number - np.searchsorted(ordered, short, side="left") + 1) / (number + 1)
    edge = float(ordered[int(number * (1 - TAIL))])
    start = np.log1p(edge**2 / degrees)
    beyond = np.log1p(ordered[ordered > edge].astype(np.float64) ** 2 / degrees)
    # Hill's estimate of the power: 1 / mean(log x - log edge).
    power = 1 / np.mean(beyond - start)
    off = np.log1p(np.maximum(statistic, edge) ** 2 / degrees) - start
    fitted = TAIL * np.exp(-np.minimum(power * off, 600.0))
    return np.where(share < TAIL / 10, np.minimum(fitted, TAIL / 10), share)
