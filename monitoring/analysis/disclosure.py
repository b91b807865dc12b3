"""What may be said of a region without telling a farm's number: gate, dominance rules, rounding.

Pure functions on the contributors' values. The service never answers live queries with them:
monitoring.regional freezes a report from one cohort, once a week.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

NUMBERS_FROM = 10  # contributors
WORD_FROM = 5  # contributors
P_PERCENT = 15.0
LARGEST_SHARE = 25.0  # per cent
RULE_VERSION = "2026-1"


@dataclass(frozen=True)
class Release:
    """What one cell of a region report may show.

    `disclosure` is "numbers", "word" or "nothing"; the other fields are None or empty where it doesn't allow them.
    `mean` is rounded, in the method's unit; `share_over` is a share from 0 to 1, to the nearest tenth.
    """

    disclosure: str
    contributors: str
    mean: float | None
    share_over: float | None
    word: str


def p_percent_unsafe(values: ArrayLike, p: float = P_PERCENT) -> bool:
    """Whether the second largest contributor could estimate the largest to within p per cent.

    Parameters
    ----------
    values : (n,) array of float, not negative — the contributors' values; NaN is refused.
    p : float, above 0 — per cent.

    Returns
    -------
    bool — True where X - x1 - x2 < p/100 * x1. With fewer than three contributors nothing remains, so True; where all
    are zero a zero total tells that every value is zero, so True as well.

    References
    ----------
    Hundepool et al., Handbook on Statistical Disclosure Control, ch. 4.2.

    >>> p_percent_unsafe([50_000, 49_000, 1_000], p=10)
    True
    >>> p_percent_unsafe([52_000, 50_000, 8_000], p=10)
    False
    """
    ordered = _descending(values)
    if ordered.size < 3 or ordered[0] == 0:
        return True
    # The second largest subtracts its own value: X - x1 - x2 < p/100 x1, handbook ch. 4.2.
    return bool(ordered[2:].sum() < p / 100 * ordered[0])


def dominance_unsafe(values: ArrayLike, n: int, k: float) -> bool:
    """Whether the n largest contributors hold more than k per cent of the total, the (n, k) rule of the handbook.

    >>> dominance_unsafe([50_000, 49_000, 1_000], n=1, k=90)
    False
    """
    ordered = _descending(values)
    # x1 + .. + xn > k/100 X
    return bool(ordered[:n].sum() > k / 100 * ordered.sum())


def release(values: ArrayLike, level: float, *, at_least: bool, words_only: bool = False) -> Release:
    """What may be shown of one method and week, from one value a contributor.

    Parameters
    ----------
    values : (n,) array of float, not negative — one weekly mean a contributing holding, in the method's unit; only
        contributors that counted: a missing one is left out by the caller, never zero.
    level : float, above 0 — the action level, in the same unit.
    at_least : bool — the level is reached when equalled (leg counts), else exceeded when more.
    words_only : bool — the cohort lost a member within its quarter, so no number of it may be published.

    Returns
    -------
    Release — ten or more give numbers unless a dominance rule forbids, five to nine a word, fewer nothing.
    """
    ordered = _descending(values)
    if not level > 0:
        raise ValueError("level must be above 0.")
    if ordered.size < WORD_FROM:
        return Release("nothing", "", None, None, "")
    mean = float(ordered.mean())
    word = level_word(mean, level, at_least=at_least)
    unsafe = p_percent_unsafe(ordered) or dominance_unsafe(ordered, 1, LARGEST_SHARE)
    if ordered.size < NUMBERS_FROM or words_only or unsafe:
        return Release("word", "", None, None, word)
    over = ordered >= level if at_least else ordered > level
    return Release("numbers", contributor_band(ordered.size), rounded(mean), share_to_tenth(float(over.mean())), word)


def level_word(mean: float, level: float, *, at_least: bool) -> str:
    """Return "high" over the action level, "middle" from two thirds of it, else "low"."""
    if mean > level or (at_least and mean == level):
        return "high"
    return "middle" if mean >= level * 2 / 3 else "low"


def contributor_band(n: int) -> str:
    """How many contributed, as a band only: an exact number would show who came and went.

    >>> [contributor_band(n) for n in (10, 14, 15, 20, 300)]
    ['10 to 14', '10 to 14', '15 to 19', '20 or more', '20 or more']
    """
    if n < NUMBERS_FROM:
        raise ValueError("n must be 10 or more: fewer contributors give no numbers.")
    return "10 to 14" if n < 15 else "15 to 19" if n < 20 else "20 or more"


def rounded(value: float) -> float:
    """A mean to two significant digits, so that a small change of one farm doesn't show.

    >>> rounded(118.4), rounded(7.26), rounded(0.0)
    (120.0, 7.3, 0.0)
    """
    return float(f"{value:.2g}")


def share_to_tenth(share: float) -> float | None:
    """A share to the nearest tenth; None near 0 and 1, where it would tell what every contributor has.

    >>> share_to_tenth(0.34), share_to_tenth(0.02), share_to_tenth(1.0)
    (0.3, None, None)
    """
    if not 0 <= share <= 1:
        raise ValueError("share must lie between 0 and 1.")
    tenth = round(share * 10) / 10
    return tenth if 0.1 <= tenth <= 0.9 else None


def _descending(values: ArrayLike) -> NDArray[np.float64]:
    array = np.asarray(values, dtype=np.float64).ravel()
    if not np.isfinite(array).all() or (array < 0).any():
        raise ValueError("values must be finite and not negative; leave out contributors that did not count.")
    return np.sort(array)[::-1]
