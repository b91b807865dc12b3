"""How far is each farm from its own normal? Counts of different dairies don't compare; each with its own past does."""

import numpy as np

from monitoring.analysis.shapes import Floats, refuse, refuse_unlike

WEEKS_NEEDED = 4
# So many weeks back: a whole year, or what there is of it, so that last season is in it.
WEEKS_BACK = 52
# A hundredth of the action level is added before logarithms are taken: zero flies have none, and a single fly more or
# less on a clean farm is no change worth telling. Our own choice.
START = 0.01


def log_ratios(now: Floats, past: Floats, level: float) -> Floats:
    """The log of each farm's week over its own normal.

    Parameters
    ----------
    now : (n,) float -- each farm's mean of the week, in the method's unit; NaN = not counted.
    past : (n, n_weeks) float -- its means of the weeks before, likewise.
    level : float, above 0 -- the action level, in the same unit.

    Returns
    -------
    (n,) float -- log((now + c) / normal), where the normal is the geometric mean of the past weeks + c, and c a
    hundredth of the level. 0 is as usual, log 2 twice the usual. NaN where the week or four past weeks are missing:
    a missing week is left out and never zero.

    >>> np.exp(log_ratios(np.array([99.0]), np.array([[49.0, 49.0, np.nan, 49.0, 49.0]]), 100.0)).round(6).tolist()
    [2.0]
    """
    if not level > 0:
        raise ValueError("level must be above 0.")
    refuse_unlike(now, past.shape[:1], "now")
    refuse((past < 0).any(axis=1) | (now < 0), "past", "must not be negative, nor must now")
    counted = (~np.isnan(past)).sum(axis=1)
    start = START * level
    normal = np.nansum(np.log(past + start), axis=1) / np.maximum(counted, 1)
    return np.where(counted >= WEEKS_NEEDED, np.log(now + start) - normal, np.nan)
