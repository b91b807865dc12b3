"""Likely over soon: below the action level now, and likelier over it than not within some weeks, if it goes on."""

import numpy as np

from monitoring.analysis.forecast import IN_SIGHT
from monitoring.analysis.shapes import Bools, Floats, Words

COUNTED_WEEKS_QUIET = 2


def met(crossing: Words, weeks: Floats, within: float) -> Bools:
    """Mark the farms whose level is likely crossed within some weeks.

    Parameters
    ----------
    crossing, weeks : (n,) str, (n,) float -- word and week of `monitoring.analysis.forecast.crossings`; NaN = none.
    within : float -- [weeks]

    Returns
    -------
    (n,) bool
    """
    return np.asarray((crossing == IN_SIGHT) & (np.nan_to_num(weeks, nan=np.inf) <= within), np.bool_)
