"""What was published of a region's week, as the audit reads it: ranges, thirds and sides of a level, and of whom."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.stats import rankdata

from monitoring.analysis.shapes import Bools, Floats

WITHIN = 0.15  # of a value
COUNTS = 5.0  # in the method's unit
# Two ends that differ by less than this share of the largest value are one: what a solver's tolerance leaves.
TOLERANCE = 1e-7
LOWER, MIDDLE, UPPER = 0, 1, 2  # thirds of sorted values
Range = tuple[float, float]
Thirds = NDArray[np.int8]


@dataclass(frozen=True)
class Statement:
    """What was published of some contributors, their values in the order of the audit's `values`.

    `members` (n,) says of whom. `mean` and `middle` are the ranges in which the mean and the mean of the middle third
    lie, before rounding; `thirds` whether each was told its own third; `level` the action level where it was told how
    many are over it, and `over` (n,) who is.
    """

    members: Bools
    mean: Range | None = None
    middle: Range | None = None
    thirds: bool = False
    level: float | None = None
    over: Bools | None = None

    @property
    def sorts(self) -> bool:
        """Whether anything that was told rests on the order of the values."""
        return self.thirds or self.middle is not None

    def side(self) -> Thirds:
        """1 over the level, 0 not, -1 where it wasn't told or isn't counted; (n,)."""
        if self.over is None or self.level is None:
            return np.full(self.members.size, -1, np.int8)
        return np.where(self.members, self.over, -1).astype(np.int8)

    def third(self, values: Floats, known: Bools | None = None) -> Thirds:
        """The third in which each of the members' values counts, 0 to 2; -1 where none is told; (n,).

        Where equal values lie on both sides of a border it is open which of them counts where, but not for those who
        were told (`known`): they count where they were told that they are.
        """
        third = np.full(values.size, -1, np.int8)
        if not self.sorts:
            return third
        of_it = np.flatnonzero(self.members)
        order = of_it[np.argsort(values[of_it], kind="stable")]
        third[order] = _by_place(np.arange(1.0, order.size + 1), order.size)
        if known is not None and known.any():
            self._as_told(third, values, known)
        return third

    def told_third(self, values: Floats) -> Thirds:
        """What each member is told of its own third: equal values the same, by the average of their places."""
        third = np.full(values.size, -1, np.int8)
        if self.sorts:
            own = values[self.members]
            third[self.members] = _by_place(rankdata(own, method="average"), own.size)
        return third

    def _as_told(self, third: Thirds, values: Floats, known: Bools) -> None:
        """Let those who know change places with equal values until they are where they were told, in place."""
        told = self.told_third(values)
        for one in np.flatnonzero(known & (third != told)):
            others = np.flatnonzero(self.members & ~known & (third == told[one]) & (values == values[one]))
            if others.size:
                third[others[0]], third[one] = third[one], told[one]

    def is_true_of(self, values: Floats) -> bool:
        """Whether what was told follows from these values."""
        own = values[self.members]
        if own.size == 0:
            return self.mean is None and self.middle is None
        middle = np.sort(own)[own.size // 3 : own.size - own.size // 3].mean()
        slack = TOLERANCE * max(1.0, float(np.abs(own).max()))
        told = ((self.mean, own.mean()), (self.middle, middle))
        if not all(each is None or each[0] - slack <= true <= each[1] + slack for each, true in told):
            return False
        side, level = self.side(), np.inf if self.level is None else self.level
        return not bool(((side == 1) & (values < level)).any() or ((side == 0) & (values > level)).any())


@dataclass(frozen=True)
class Scale:
    """What values can be: not below `natural`, and how near is too near.

    Counts end at 0 by nature, and an end within 15 % or five counts tells; log ratios have no end in sight (`reach`
    beyond the largest, both ways), and a ratio within 15 % tells.
    """

    natural: float | None = 0.0
    within: float = WITHIN
    counts: float = COUNTS
    reach: float = np.inf

    def margin(self, values: Floats) -> Floats:
        return np.maximum(self.within * np.abs(values), self.counts)

    def ends(self, values: Floats) -> Range:
        """Between what any value lies, whatever was told; a thousand times the largest bounds nothing."""
        largest = float(np.abs(values).max(initial=0.0))
        if self.natural is None:
            return -largest - self.reach, largest + self.reach
        return self.natural, 1000 * max(largest, 1.0)


COUNTED = Scale()
LOG_RATIOS = Scale(natural=None, within=0.0, counts=float(np.log1p(WITHIN)), reach=float(np.log(1000)))


def _by_place(places: Floats, size: int) -> Thirds:
    """The third of each place among so many, the first being 1: a third of them below, a third above, the rest."""
    return np.where(places <= size // 3, LOWER, np.where(places > size - size // 3, UPPER, MIDDLE)).astype(np.int8)
