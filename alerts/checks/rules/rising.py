"""Rising: the farm's own test against its own past, told only when enough weeks were counted."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from alerts.models.assessment import WEEKS_FOR_A_TREND, TrendWord

P_BELOW = 0.05  # one-sided, for a rise and for a fall
WEEKS_NOT_RISING = 2  # counted weeks running


def trend_words(p_rise: NDArray[np.float64], p_fall: NDArray[np.float64], weeks: NDArray[np.int64]) -> NDArray[np.str_]:
    """What the weeks of each farm and method are called.

    Parameters
    ----------
    p_rise, p_fall : (n,) float -- share of level farms that would show so large a rise, or fall, by chance; NaN where
        nothing can be said.
    weeks : (n,) int -- weeks observed among the last twelve.

    Returns
    -------
    (n,) str -- "rising" or "falling" where the smaller of the two is below .05, "level" otherwise, "too_early" with
    fewer than five observed weeks or where nothing can be said.
    """
    told = (weeks >= WEEKS_FOR_A_TREND) & ~np.isnan(p_rise) & ~np.isnan(p_fall)
    up, down = np.where(told, p_rise, 1.0), np.where(told, p_fall, 1.0)
    words = np.where(told, TrendWord.LEVEL.value, TrendWord.TOO_EARLY.value)
    words = np.where((up < P_BELOW) & (up <= down), TrendWord.RISING.value, words)
    return np.where((down < P_BELOW) & (down < up), TrendWord.FALLING.value, words)


def opens(word: str) -> bool:
    return word == TrendWord.RISING


def closes(words: Sequence[str]) -> bool:
    """Whether the trend's words of the counted weeks after the opening, oldest first, end the alert.

    Two counted weeks running no longer rising. A week in which it is too early to tell shows neither.
    """
    told = [word for word in words if word not in ("", TrendWord.TOO_EARLY)]
    return len(told) >= WEEKS_NOT_RISING and all(word != TrendWord.RISING for word in told[-WEEKS_NOT_RISING:])
