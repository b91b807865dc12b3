"""A jump: this week lies further above what the farm's own weeks before it let expect than chance explains."""

import numpy as np
from scipy import special

from monitoring.analysis.shapes import Bools, Floats

COUNTED_WEEKS_QUIET = 2


def met(score: Floats, chance: float) -> Bools:
    """Mark the farms that jumped.

    Parameters
    ----------
    score : (n,) float -- `monitoring.analysis.week_scores.score_newest`: standard normal for a farm that stays level;
        NaN = nothing can be said.
    chance : float -- share of level farms that may be marked, above 0 and below 1.

    Returns
    -------
    (n,) bool

    Examples
    --------
    >>> met(np.array([2.4, 2.6, np.nan]), 0.005).tolist()
    [False, True, False]
    """
    with np.errstate(invalid="ignore"):
        return np.asarray(score > special.ndtri(1 - chance), np.bool_)
