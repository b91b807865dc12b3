"""What may be said of a region without telling a farm's number: gate, dominance rules, rounding.

Pure functions on the contributors' values. The service never answers live queries with them: monitoring.regional
freezes a report from one cohort, once a week, and monitoring.analysis.disclosure_audit tries to break it before it
is out.

Guarded against: two contributors who lay their own numbers together, and one person who sees several of them anyway (an
adviser, an owner's family). They know how many contributed, how many are over the level, their own values and thirds,
and these rules: that a share is left out tells them that few are over the level, or few are not.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.stats import rankdata

from monitoring.analysis.shapes import Bools, Floats, refuse

NUMBERS_FROM = 10  # contributors
WORD_FROM = 5  # contributors
P_PERCENT = 15.0
LARGEST_SHARE = 25.0  # per cent
# No end of what can be worked out for a contributor is nearer than this, in the method's unit: near zero a share of the
# value is nothing, and all that are zero are told by a zero total.
FLOOR = 5.0
COALITION = 2
# So many on each side of a share. With one fewer, a share that isn't told would tell two who are over the level that
# nobody else is: now a third one could be. Where it is told, they leave two whom they can't name.
EACH_SIDE = COALITION + 2
RULE_VERSION = "2026-2"
LOWER, MIDDLE, UPPER = 1, 2, 3
Thirds = NDArray[np.int8]


@dataclass(frozen=True)
class Release:
    """What one cell of a region report may show.

    `disclosure` is "numbers", "word" or "nothing"; the other fields are None or empty where it doesn't allow them.
    `mean` and `middle` (the mean of the middle third) are rounded, in the method's unit; `share_over` is a share from
    0 to 1, to the nearest tenth; `thirds` (n,) says in which third each contributor lies, in the order given, or is
    empty.
    """

    disclosure: str
    contributors: str = ""
    mean: float | None = None
    middle: float | None = None
    share_over: float | None = None
    word: str = ""
    thirds: Thirds = field(default_factory=lambda: np.zeros(0, np.int8), compare=False)


@dataclass(frozen=True)
class NormalRelease:
    """How far the contributors are from their own normal: `ratio` of the mean (1 is as usual), `middle` that of the
    middle third, `share_above` the share above its own normal, to the nearest tenth. None where not allowed.
    """

    ratio: float | None = None
    middle: float | None = None
    share_above: float | None = None


NOTHING = Release("nothing")


def p_percent_unsafe(values: ArrayLike, p: float = P_PERCENT) -> bool:
    """Whether the second largest contributor could estimate the largest to within p per cent: the handbook's rule.

    The gate holds it against two together, and with thirds told (`_safe_from_pairs`).

    Parameters
    ----------
    values : (n,) array of float, not negative -- the contributors' values; NaN is refused.
    p : float, above 0 -- per cent.

    Returns
    -------
    bool -- True where X - x1 - x2 < p/100 * x1. With fewer than three contributors nothing remains, so True; where all
    are zero a zero total tells that every value is zero, so True as well.

    References
    ----------
    Hundepool et al., Handbook on Statistical Disclosure Control, ch. 4.2.

    >>> p_percent_unsafe([50_000, 49_000, 1_000], p=10)
    True
    >>> p_percent_unsafe([52_000, 50_000, 8_000], p=10)
    False
    """
    ordered = _checked(values)[::-1]
    if ordered.size < 3 or ordered[0] == 0:
        return True
    # The second largest subtracts its own value: X - x1 - x2 < p/100 x1, handbook ch. 4.2.
    return bool(ordered[2:].sum() < p / 100 * ordered[0])


def dominance_unsafe(values: ArrayLike, n: int, k: float) -> bool:
    """Whether the n largest contributors hold more than k per cent of the total, the (n, k) rule of the handbook.

    >>> dominance_unsafe([50_000, 49_000, 1_000], n=1, k=90)
    False
    """
    ordered = _checked(values)[::-1]
    # x1 + .. + xn > k/100 X
    return bool(ordered[:n].sum() > k / 100 * ordered.sum())


def release(
    values: ArrayLike, level: float, *, at_least: bool, words_only: bool = False, watchers: Sequence[Bools] = ()
) -> Release:
    """What may be shown of one method and week, from one value a contributor.

    Parameters
    ----------
    values : (n,) array of float, not negative -- one weekly mean a contributing holding, in the method's unit; only
        contributors that counted: a missing one is left out by the caller, never zero.
    level : float, above 0 -- the action level, in the same unit.
    at_least : bool -- the level is reached when equalled (leg counts), else exceeded when more.
    words_only : bool -- the cohort lost a member within its quarter, so no number of it may be published.
    watchers : of (n,) bool arrays -- for each person who may see several contributors, whom.

    Returns
    -------
    Release -- ten or more give numbers unless somebody could be worked out from them, five to nine a word, fewer
    nothing. The middle third and the share are left out first, where the mean alone is safe.
    """
    order = np.argsort(np.asarray(values, np.float64).ravel(), kind="stable")
    ordered = _checked(values)
    if not level > 0:
        raise ValueError("level must be above 0.")
    if ordered.size < WORD_FROM:
        return NOTHING
    seen = [np.asarray(each, bool)[order] for each in watchers]
    over = is_over(ordered, level, at_least=at_least)
    word = level_word(float(ordered.mean()), level, at_least=at_least)
    if ordered.size < NUMBERS_FROM or words_only or dominance_unsafe(ordered, 1, LARGEST_SHARE):
        return _word(ordered, level, word, seen)
    share = share_to_tenth(over)
    for told in _most_first(ordered, Sides(over, told=share is not None), level):
        if _all_safe(told, seen):
            mean = rounded(float(ordered.mean()))
            return Release(
                "numbers",
                contributor_band(ordered.size),
                mean,
                rounded(middle_mean(ordered)) if told.middle else None,
                share if told.sides is not None and told.sides.told else None,
                level_word(mean, level, at_least=at_least),
                thirds_of(values),
            )
    return _word(ordered, level, word, seen)


def release_normal(ratios: ArrayLike, *, watchers: Sequence[Bools] = ()) -> NormalRelease:
    """How far from their own normal the contributors are, from one log ratio each (NaN: no normal of its own yet).

    Whoever reads it knows nobody's normal, so a log ratio has no natural end, and ten of them with an unknown one in
    each outer third leave each free on both sides. To be asked only where `release` gave numbers.
    """
    given = np.asarray(ratios, np.float64).ravel()
    refuse(np.isinf(given), "ratios", "must be finite, or NaN where there is no normal")
    known = ~np.isnan(given)
    ordered = np.sort(given[known], kind="stable")
    order = np.argsort(given[known], kind="stable")
    if ordered.size < NUMBERS_FROM:
        return NormalRelease()
    seen = [np.asarray(each, bool)[known][order] for each in watchers]
    share = share_to_tenth(ordered > 0)
    above: Sides | None = Sides(ordered > 0, told=share is not None)
    if share is not None and not all(_has_room(~each, ordered, above) for each in seen):
        share, above = None, None
    if not all(_has_room(~each, ordered, above) for each in seen):
        return NormalRelease()
    return NormalRelease(rounded(float(np.exp(ordered.mean()))), rounded(float(np.exp(middle_mean(ordered)))), share)


@dataclass(frozen=True)
class Sides:
    """Who has a mark, `marked` (n,), and what a reader who knows the rules makes of the share: it was told, or it was
    left out because few have the mark or few have it not.
    """

    marked: Bools
    told: bool

    def known(self) -> Bools:
        """Who is known to have the mark: all who have it, but none where it is the mark that few have."""
        few_have_it = not self.told and 2 * self.marked.sum() <= self.marked.size
        return np.zeros_like(self.marked) if few_have_it else self.marked

    def leave_room(self, unknown: Bools) -> bool:
        """Whether any of the unknown (n,) could be on either side, for all that was told or left out."""
        with_it, without = unknown & self.marked, unknown & ~self.marked
        if self.told:
            return bool(with_it.any() and without.any())
        few = self.marked if 2 * self.marked.sum() <= self.marked.size else ~self.marked
        one_more = np.arange(few.size) <= few.sum()
        return bool((unknown & few).any()) or share_to_tenth(one_more) is None


@dataclass(frozen=True)
class Told:
    """What numbers tell of the sorted values: the mean always; `sides` of the level where a share is told, or left out
    for being near 0 or 1.
    """

    ordered: Floats
    sides: Sides | None
    level: float
    middle: bool

    def excess(self) -> Floats:
        """How far each value lies over what others must take it for at least; (n,), not negative.

        They know the thirds' borders here, which is more than they are told, and each value of a middle third whose
        mean is told: what is safe against that is safe.
        """
        low, high = third_sizes(self.ordered.size)
        floor = np.zeros(self.ordered.size)
        floor[low:high] = self.ordered[low:high] if self.middle else self.ordered[low - 1]
        floor[high:] = self.ordered[high - 1]
        if self.sides is not None:
            over = self.sides.known()
            floor[over] = np.maximum(floor[over], self.level)
        return self.ordered - floor


def _most_first(ordered: Floats, over: Sides, level: float) -> list[Told]:
    """What numbers could tell, from all of it to the mean alone. A share that could be told may be left out as well."""
    shares = [over, None] if over.told else [over]
    return [Told(ordered, share, level, middle) for middle in (True, False) for share in shares]


def _all_safe(told: Told, seen: Sequence[Bools]) -> bool:
    excess = told.excess()
    # Who sees several may know all others of a value that reaches over the lower third's border: then it can't fall.
    low = third_sizes(told.ordered.size)[0]
    for_several = np.where(told.ordered[low] == told.ordered, 0.0, excess)
    return _safe_from_pairs(told.ordered, excess) and all(
        _safe_from(told.ordered, for_several, each) and _has_room(~each, told.ordered, told.sides)
        for each in seen
        if not each.all()
    )


def _safe_from_pairs(ordered: Floats, excess: Floats, spare: float = 0.0) -> bool:
    """Whether no two can work out any third one, each of the three largest being the one they are after.

    The largest whom they don't know is bounded least: by what the rest has beyond its floor. The pair that leaves least
    of that is made of those that are larger, and of those with most beyond the floor.
    """
    for lead in range(COALITION + 1):
        rest = np.sort(excess[: ordered.size - 1 - lead])
        left = rest[: rest.size - (COALITION - lead)].sum()
        if spare + left < _margin(ordered[-1 - lead]):
            return False
    return True


def _safe_from(ordered: Floats, excess: Floats, seen: Bools, spare: float = 0.0) -> bool:
    """Whether somebody who sees these can't work out anybody else. They may see all: then there is nobody else."""
    unknown = np.flatnonzero(~seen)
    if not unknown.size:
        return True
    return bool(spare + excess[unknown[:-1]].sum() >= _margin(ordered[unknown[-1]]))


def _has_room(unknown: Bools, ordered: Floats, sides: Sides | None) -> bool:
    """Whether somebody unknown is in each outer third, and could be on each side of a level: free to be anyone.

    One whose value reaches over a third's border isn't: others of that value may have been told that they fill it.
    """
    if not unknown.any():
        return True
    low, high = third_sizes(ordered.size)
    room = bool((unknown & (ordered < ordered[low])).any() and (unknown & (ordered > ordered[high - 1])).any())
    return room and (sides is None or sides.leave_room(unknown))


def _margin(value: float) -> float:
    return max(P_PERCENT / 100 * float(value), FLOOR)


def _word(ordered: Floats, level: float, word: str, seen: Sequence[Bools]) -> Release:
    """A word, which tells a range of the total; nothing where even that would bound somebody."""
    # "high" has no upper end; the others leave what the total could be more.
    spare = word_range(word, level)[1] * ordered.size - ordered.sum()
    safe = _safe_from_pairs(ordered, ordered, spare) and all(
        _safe_from(ordered, ordered, each, spare) and (~each).sum() != 1 for each in seen
    )
    return Release("word", word=word) if safe else NOTHING


def level_word(mean: float, level: float, *, at_least: bool) -> str:
    """Return "high" over the action level, "middle" from two thirds of it, else "low"."""
    if mean > level or (at_least and mean == level):
        return "high"
    return "middle" if mean >= level * 2 / 3 else "low"


def word_range(word: str, level: float) -> tuple[float, float]:
    """Between which means a word is said, in the level's unit."""
    return {"low": (0.0, level * 2 / 3), "middle": (level * 2 / 3, level), "high": (level, np.inf)}[word]


def is_over(values: Floats, level: float, *, at_least: bool) -> Bools:
    """Whether each value has reached the level."""
    return values >= level if at_least else values > level


def third_sizes(size: int) -> tuple[int, int]:
    """Where the middle third of so many sorted values begins and ends: a third below, a third above, the rest.

    >>> third_sizes(10), third_sizes(12)
    ((3, 7), (4, 8))
    """
    return size // 3, size - size // 3


def middle_mean(ordered: Floats) -> float:
    """The mean of the middle third of sorted values: half and half of it would be the median."""
    low, high = third_sizes(ordered.size)
    return float(ordered[low:high].mean())


def thirds_of(values: ArrayLike) -> Thirds:
    """In which third each value lies, (n,): 1 lower, 2 middle, 3 upper; equal values in the same.

    >>> thirds_of([5, 1, 9, 9, 9, 2]).tolist()
    [2, 1, 3, 3, 3, 1]
    """
    array = np.asarray(values, np.float64)
    ranks = rankdata(array, method="average")
    low, high = third_sizes(array.size)
    return np.where(ranks <= low, LOWER, np.where(ranks > high, UPPER, MIDDLE)).astype(np.int8)


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


def before_rounding(value: float) -> tuple[float, float]:
    """Between which means `rounded` gives this value.

    >>> before_rounding(120.0), before_rounding(100.0), before_rounding(0.0)
    ((115.0, 125.0), (99.5, 105.0), (0.0, 0.0))
    """
    if value == 0:
        return 0.0, 0.0
    step = 10.0 ** (np.floor(np.log10(abs(value)) + 1e-9) - 1)
    # Below a power of ten the digits are ten times as fine.
    finer = step / 10 if math.isclose(value, 10 * step, rel_tol=1e-6) else step
    return float(value - finer / 2), float(value + step / 2)


def share_to_tenth(flags: ArrayLike) -> float | None:
    """The share of contributors with a mark, to the nearest tenth; None where fewer than four have it or have it not.

    Near 0 and 1 it would tell what every contributor has; see `EACH_SIDE`.

    >>> share_to_tenth([True] * 4 + [False] * 8), share_to_tenth([True] * 3 + [False] * 8)
    (0.3, None)
    """
    marked = np.asarray(flags, bool)
    if min(marked.sum(), (~marked).sum()) < EACH_SIDE:
        return None
    tenth = round(float(marked.mean()) * 10) / 10
    return tenth if 0.1 <= tenth <= 0.9 else None


def _checked(values: ArrayLike) -> Floats:
    """The values in ascending order."""
    array = np.asarray(values, dtype=np.float64).ravel()
    if not np.isfinite(array).all() or (array < 0).any():
        raise ValueError("values must be finite and not negative; leave out contributors that did not count.")
    return np.sort(array, kind="stable")
