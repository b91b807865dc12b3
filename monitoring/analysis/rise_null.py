"""How large a change do level farms show by chance? Drawn, for the test of `rise.py`."""

from dataclasses import dataclass
from functools import cached_property, lru_cache
from threading import Lock

import numpy as np
from numpy.typing import NDArray
from scipy import optimize, special

from monitoring.analysis.correlated_weeks import WeekScatter, kept, since
from monitoring.analysis.rise_statistic import STARTS
from monitoring.analysis.shapes import Floats

# A farm's own test asks where one in twenty lies; a list of many farms asks far out.
DRAWS, DRAWS_FOR_MANY, MANY = 100_000, 400_000, 2_000
SEED = 20260601
AT_ONCE = 10_000  # draws, so that they stay in the processor's cache
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
        return self._rise_tail.share_beyond(statistic)

    def p_of_fall(self, statistic: Floats) -> Floats:
        """Give the share of level farms with so large a fall."""
        return self._fall_tail.share_beyond(statistic)

    @cached_property
    def _rise_tail(self) -> "_Tail":
        return _Tail.of(self.rise, self.degrees)

    @cached_property
    def _fall_tail(self) -> "_Tail":
        return _Tail.of(self.fall, self.degrees)


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
    asked = (n_weeks, noise, scatter, worth, draws)
    # Of several threads that ask for the same, one draws and the others wait.
    with _lock(asked):
        return _drawn(*asked)


@lru_cache(maxsize=1024)
def _lock(_asked: tuple[object, ...]) -> Lock:
    return Lock()


@lru_cache(maxsize=128)
def _drawn(n_weeks: int, noise: float, scatter: WeekScatter, worth: float, draws: int) -> NullDraws:
    rng = np.random.default_rng(SEED)
    when = np.asarray(np.arange(n_weeks) - (n_weeks - 1.0), np.float64)
    apart = np.abs(when[:, None] - when[None, :])
    shocks = scatter.shock**2 * kept(apart, scatter.stays)
    variance = scatter.counting * noise
    covariance = np.asarray(shocks + (variance + 1e-9) * np.eye(n_weeks), np.float64)
    effects = rng.standard_normal((draws, n_weeks)) @ np.linalg.cholesky(shocks + 1e-12 * np.eye(n_weeks)).T
    effects += _log_gamma(rng, variance, effects.shape)
    rise, fall = (np.empty(draws, np.float32) for _ in range(2))
    for start in range(0, draws, AT_ONCE):
        part = slice(start, start + AT_ONCE)
        each = _statistics(effects[part], covariance, when, worth).astype(np.float32)
        rise[part], fall[part] = each.max(axis=0), -each.min(axis=0)
    return NullDraws(np.sort(rise), np.sort(fall), n_weeks - 2.0 + worth)


def _statistics(draws: Floats, covariance: Floats, when: Floats, worth: float) -> Floats:
    """Give t of each start's change, (n_starts, n_draws), as `rise_statistic.t_of_changes` does.

    All draws have the same weeks, so what a change's column is beside the level is worked out once.
    """
    columns = np.stack([np.ones(when.size), *(since(when, start) for start in STARTS)], axis=1)
    inverse = np.linalg.inv(np.linalg.cholesky(covariance))
    level, *changes = (inverse @ columns).T
    off_level = np.eye(when.size) - np.outer(level, level) / (level @ level)
    rest = off_level @ np.array(changes).T
    spread = (rest**2).sum(axis=0)
    tellable = spread > 1e-9
    # One product gives what is left of the effects beside the level, and what of it lies along each change.
    onto = np.concatenate([off_level, (rest / np.sqrt(np.where(tellable, spread, np.inf))).T]) @ inverse
    seen = onto @ draws.T
    effects, along = seen[: when.size], seen[when.size :]
    left = np.maximum(np.einsum("wn,wn->n", effects, effects) - along**2, 0.0)
    return np.asarray(along / np.sqrt((worth + left) / (worth + when.size - 2.0) + 1e-12))


def _log_gamma(rng: np.random.Generator, variance: float, shape: tuple[int, ...]) -> Floats:
    """Draw logs of gamma variates with mean zero and this variance, which is trigamma of their shape."""
    alpha = float(optimize.brentq(lambda x: special.polygamma(1, x) - variance, 1e-3, 1e9))
    return np.asarray(np.log(np.maximum(rng.gamma(alpha, size=shape), 1e-300)) - special.digamma(alpha))


@dataclass(frozen=True)
class _Tail:
    """Draws in order, and what is fitted beyond their last hundredth, `edge`.

    The tail of t falls as a power of 1 + t^2/degrees, which is that of a normal where degrees are many.
    """

    ordered: NDArray[np.float32]
    degrees: float
    edge: float
    start: float
    power: float

    @classmethod
    def of(cls, ordered: NDArray[np.float32], degrees: float) -> "_Tail":
        edge = float(ordered[int(len(ordered) * (1 - TAIL))])
        start = float(np.log1p(edge**2 / degrees))
        beyond = np.log1p(ordered[np.searchsorted(ordered, edge, side="right") :].astype(np.float64) ** 2 / degrees)
        # Hill's estimate of the power: 1 / mean(log x - log edge).
        return cls(ordered, degrees, edge, start, float(1 / np.mean(beyond - start)))

    def share_beyond(self, statistic: Floats) -> Floats:
        """Give the share of draws at or above each statistic; far beyond the last hundredth by the fitted tail."""
        number = len(self.ordered)
        # What is next to nothing would not fit the draws' short floats.
        short = np.where(np.abs(statistic) < 1e-30, 0.0, statistic).astype(np.float32)
        share = (number - np.searchsorted(self.ordered, short, side="left") + 1) / (number + 1)
        off = np.log1p(np.maximum(statistic, self.edge) ** 2 / self.degrees) - self.start
        fitted = TAIL * np.exp(-np.minimum(self.power * off, 600.0))
        return np.where(share < TAIL / 10, np.minimum(fitted, TAIL / 10), share)
