"""How much do weeks scatter in a network of farms, and how alike are its farms in that?"""

from dataclasses import dataclass

import numpy as np
from scipy import optimize, special

from monitoring.analysis.correlated_weeks import (
    FARMS_TO_BORROW,
    WeekScatter,
    covariance_of_weeks,
    since,
    whitened,
)
from monitoring.analysis.farm_weeks import FarmWeeks
from monitoring.analysis.shapes import Bools, Floats, Ints

MOST_DEGREES = 200.0
LARGEST_STAYS = 0.95
# Weak beliefs, worth a few farms: counting is about what the fit says (log sd .2), and weather lasts a little.
COUNTING_SD, STAYS_SD, STAYS_ABOUT, FARMS_OF_BELIEF = 0.2, 0.5, 0.35, 5.0


def fit_week_scatter(weeks: FarmWeeks, k: float) -> WeekScatter | None:
    """Fit what moves the weeks of a network's farms by restricted maximum likelihood.

    Parameters
    ----------
    weeks : FarmWeeks -- one row a farm, of one method; earlier weeks than those that will be judged by it, or whoever
        rises now would be taken for ordinary scatter.
    k : float -- what `weeks` was fitted with.

    Returns
    -------
    WeekScatter, or None where fewer than 30 farms have enough weeks: then the printed one holds.

    Notes
    -----
    The farm's level is taken out by contrasts, so the small-sample bias goes with it. A farm may be level, or rise or
    fall from any week on: growth enters as a random slope from a start anywhere in the window, so that farms with an
    outbreak in their weeks do not pass for weather that lasts. Farms with the same weeks share one matrix of sums.
    The shape is fitted first; then the farms' own scales are compared (the moments of log chi-squares), which gives
    the degrees of freedom that the network's scale is worth for one of them, at most 200. All are scaled to a network
    scale of 1. Weak beliefs (a few farms' worth) keep a network that cannot tell counting from weather near to what
    counting alone gives.

    References
    ----------
    Patterson and Thompson 1971, Recovery of inter-block information, Biometrika 58:545-554. Smyth 2004, Linear models
    and empirical Bayes methods, Stat Appl Genet Mol Biol 3(1), art. 3, section 6.2, for the degrees (both from memory).

    Examples
    --------
    >>> from monitoring.analysis.farm_weeks import farm_weeks_from
    >>> rng = np.random.default_rng(1)
    >>> level = 40 * np.exp(0.3 * rng.standard_normal((200, 1, 8)))
    >>> counts = rng.poisson(np.repeat(level, 9, axis=1)).astype(float)
    >>> weeks = farm_weeks_from(counts, np.full(counts.shape, 7.0), np.arange(8) * 7.0, np.inf)
    >>> bool(0.27 < fit_week_scatter(weeks, 1.5).shock < 0.33)
    True
    """
    weeks = weeks.only(weeks.told)
    if len(weeks) < FARMS_TO_BORROW:
        return None
    sums = [_Sums.of(weeks, pattern, np.flatnonzero(rows)) for pattern, rows in _patterns(weeks.used)]
    start = np.array([np.log(0.2), 0.1, 0.0, np.log(0.1)])
    corners = np.vstack([start, start + np.diag([0.5, 0.3, 0.2, 0.5])])
    best = optimize.minimize(
        _minus_log_likelihood, start, args=(sums,), method="Nelder-Mead",
        options={"maxiter": 2000, "xatol": 1e-4, "fatol": 1e-9 * len(weeks), "initial_simplex": corners},
    )  # fmt: skip
    shock, stays, counting, growth = _natural(best.x)
    shape = WeekScatter(shock, max(stays, 0.0), counting, growth, MOST_DEGREES, k, len(weeks))
    scale, degrees = _scale_and_degrees(*_own_scales(weeks, shape))
    root = float(np.sqrt(scale))
    return WeekScatter(shock * root, shape.stays, counting * scale, growth * root, degrees, k, len(weeks))


@dataclass(frozen=True)
class _Sums:
    """What the likelihood needs of the farms with the same weeks: everything on contrasts that take the level out."""

    farms: int
    observed: Floats
    noise: Floats
    apart: Floats
    growth: Floats
    contrasts: Floats

    @classmethod
    def of(cls, weeks: FarmWeeks, pattern: Bools, rows: Ints) -> "_Sums":
        place = np.flatnonzero(pattern)
        number = place.size
        contrasts = np.linalg.qr(np.ones((number, 1)), mode="complete")[0][:, 1:]
        effects = weeks.effects[rows][:, place] @ contrasts
        noise = weeks.noise[rows][:, place][:, :, place].mean(axis=0)
        when = weeks.when[rows][:, place].mean(axis=0)
        changes = np.stack([since(when, -first) for first in when[:-1]], axis=1)
        return cls(
            farms=rows.size,
            observed=effects.T @ effects / rows.size,
            noise=contrasts.T @ noise @ contrasts,
            apart=np.abs(when[:, None] - when[None, :]),
            growth=contrasts.T @ (changes @ changes.T / changes.shape[1]) @ contrasts,
            contrasts=contrasts,
        )


def _patterns(used: Bools) -> list[tuple[Bools, Bools]]:
    """Give each set of weeks that some farm has, and the farms that have it."""
    different, which = np.unique(used, axis=0, return_inverse=True)
    return [(pattern, which.ravel() == number) for number, pattern in enumerate(different)]


def _natural(free: Floats) -> tuple[float, float, float, float]:
    """Give shock, stays, counting and growth of the numbers that the search moves freely."""
    shock, growth = np.exp(np.clip(free[[0, 3]], -12, 2))
    return float(shock), float(LARGEST_STAYS * np.tanh(free[1])), float(np.exp(np.clip(free[2], -5, 5))), float(growth)


def _minus_log_likelihood(free: Floats, sums: list[_Sums]) -> float:
    shock, stays, counting, growth = _natural(free)
    total = FARMS_OF_BELIEF * ((np.log(counting) / COUNTING_SD) ** 2 + ((free[1] - STAYS_ABOUT) / STAYS_SD) ** 2)
    for some in sums:
        # Between negative neighbours the correlation of |t - s| weeks has the sign of whole weeks.
        lasting = np.sign(stays) ** np.round(some.apart) * np.abs(stays) ** some.apart if stays else some.apart == 0
        together = some.contrasts.T @ (shock**2 * lasting) @ some.contrasts
        together = together + counting * some.noise + growth**2 * some.growth + 1e-9 * np.eye(len(together))
        sign, log_determinant = np.linalg.slogdet(together)
        if sign <= 0:
            return np.inf
        # -2 log L = log|V| + tr(V^-1 S), for each farm
        total += some.farms * (log_determinant + np.trace(np.linalg.solve(together, some.observed)))
    return float(total)


def _own_scales(weeks: FarmWeeks, shape: WeekScatter) -> tuple[Floats, Floats]:
    """Give each farm's sum of squares about its level, by the network's shape, and its degrees of freedom."""
    covariance, used = covariance_of_weeks(weeks, shape), weeks.used
    when = np.where(used, weeks.when, 0.0)
    first = when.min(axis=1)
    # From the first week to the last but one, as many as there are weeks between.
    starts = np.linspace(1, 0, used.shape[1] - 1, endpoint=False)[None, :] * first[:, None]
    changes = np.where(used[:, :, None], since(when[:, :, None], -starts[:, None, :]), 0.0)
    covariance = covariance + shape.growth**2 * np.matmul(changes, changes.transpose(0, 2, 1)) / changes.shape[2]
    columns = np.stack([np.ones(used.shape), weeks.effects], axis=2)
    level, effects = np.moveaxis(whitened(covariance, used, columns), 2, 0)
    rest = (effects**2).sum(axis=1) - (level * effects).sum(axis=1) ** 2 / (level**2).sum(axis=1)
    return np.maximum(rest, 1e-12), used.sum(axis=1) - 1.0


def _scale_and_degrees(squares: Floats, degrees: Floats) -> tuple[float, float]:
    """Give the network's scale and the degrees of freedom it is worth, from log variances (Smyth 2004, 6.2)."""
    # e = log s^2 - digamma(d/2) + log(d/2); its spread beyond trigamma(d/2) is trigamma(d0/2)
    off = np.log(squares / degrees) - special.digamma(degrees / 2) + np.log(degrees / 2)
    beyond = off.var(ddof=1) - special.polygamma(1, degrees / 2).mean()
    if beyond <= special.polygamma(1, MOST_DEGREES / 2):
        worth = MOST_DEGREES
    else:
        worth = 2 * float(optimize.brentq(lambda x: special.polygamma(1, x) - beyond, 1e-3, MOST_DEGREES))
    scale = np.exp(off.mean() + special.digamma(worth / 2) - np.log(worth / 2))
    return float(scale), float(worth)
