"""Rising: the farm's log-linear trend over its last eight weeks, told only when enough weeks were counted."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from alerts.models.assessment import TrendWord

P_BELOW = 0.05  # two-sided
WEEKS_NEEDED = 5  # observed, of the last eight
WEEKS_NOT_RISING = 2  # counted weeks running


def trend_words(
    growth: NDArray[np.float64], p_value: NDArray[np.float64], weeks: NDArray[np.int64]
) -> NDArray[np.str_]:
    """What the trend of each farm and method is called.

    Parameters
    ----------
    growth : (n,) float -- log growth a week; NaN where none could be fitted.
    p_value : (n,) float -- two-sided; NaN where none could be fitted.
    weeks : (n,) int -- weeks observed among the last eight.

    Returns
    -------
    (n,) str -- "rising" or "falling" where p is below .05 by the sign of the growth, "level" otherwise, "too_early"
    with fewer than five observed weeks or no fit.
    """
    told = (weeks >= WEEKS_NEEDED) & ~np.isnan(p_value) & ~np.isnan(growth)
    clear = told & (np.nan_to_num(p_value, nan=1.0) < P_BELOW)
    words = np.where(told, TrendWord.LEVEL.value, TrendWord.TOO_EARLY.value)
    words = np.where(clear & (growth > 0), TrendWord.RISING.value, words)
    return np.where(clear & (growth < 0), TrendWord.FALLING.value, words)


def opens(word: str) -> bool:
    return word == TrendWord.RISING


def closes(words: Sequence[str]) -> bool:
    """Whether the trend's words of the counted weeks after the opening, oldest first, end the alert.

    Two counted weeks running no longer rising. A week in which it is too early to tell shows neither.
    """
    told = [word for word in words if word not in ("", TrendWord.TOO_EARLY)]
    return len(told) >= WEEKS_NOT_RISING and all(word != TrendWord.RISING for word in told[-WEEKS_NOT_RISING:])
