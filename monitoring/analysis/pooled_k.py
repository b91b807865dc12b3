"""How unevenly do counts scatter about what their station and week would give?"""

import numpy as np

from monitoring.analysis.shapes import Floats
from monitoring.analysis.week_effects import week_effects

STARTS_AT = 1.5
SMALLEST, LARGEST = 0.3, 50.0
ROUNDS = 3


def pooled_k(counts: Floats, days: Floats) -> float | None:
    """Give one negative-binomial k for all farms of a network, for weighting counts.

    Parameters
    ----------
    counts, days : (n_farms, n_stations, n_weeks) float -- as in `week_effects.week_effects`; animals for days of leg
        counts, and the k is then that of one animal.

    Returns
    -------
    float from 0.3 to 50, or None where counts are too few to say (no more cells than stations and weeks).

    Notes
    -----
    By moments: the k at which the squares about the fitted means add up to what m + m^2/k gives, corrected for the
    parameters fitted. It is biased (1.2 to 1.8 for a true 1.5 in trials), which the scatter of weeks takes up: use it
    for weights, never print it as the k of a method; `scatter.py` has that. Zero counts are counts; missing ones are
    left out.

    Examples
    --------
    >>> rng = np.random.default_rng(1)
    >>> counts = rng.poisson(rng.gamma(1.5, 40 / 1.5, (300, 9, 8))).astype(float)
    >>> bool(1.2 < pooled_k(counts, np.full(counts.shape, 7.0)) < 1.8)
    True
    """
    k = STARTS_AT
    for _ in range(ROUNDS):
        found = _by_moments(counts, days, k)
        if found is None:
            return None
        k = found
    return k


def _by_moments(counts: Floats, days: Floats, k: float) -> float | None:
    fit = week_effects(counts, days, k)
    log_mean = fit.stations[:, :, None] + fit.effects[:, None, :]
    cells = ~np.isnan(log_mean) & ~np.isnan(counts)
    mean = np.where(cells, np.exp(np.where(cells, log_mean, 0.0)) * np.where(cells, days, 0.0), 0.0)
    fitted = (~np.isnan(fit.stations)).sum() + fit.used.sum() - (fit.used.any(axis=1)).sum()
    free = int(cells.sum()) - int(fitted)
    if free <= 0 or mean.sum() == 0:
        return None
    squares = float(((np.where(cells, counts, 0.0) - mean) ** 2).sum()) * cells.sum() / free
    beyond = (squares - float(mean.sum())) / float((mean**2).sum())
    return float(np.clip(1 / beyond if beyond > 1 / LARGEST else LARGEST, SMALLEST, LARGEST))
