"""What an attacker can really work out, trying all that they are not told: the audit's bounds must lie within theirs.

Written without the audit's blocks: one variable a contributor, and a linear program for every way in which the thirds
and the sides of the level can be shared out among those whom the attacker doesn't know. They know the rules: how many
may be over where a share was told, and how many where it was left out.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from scipy.optimize import linprog

from monitoring.analysis.disclosure import Release, before_rounding, share_to_tenth, word_range

MANY = 1000.0  # times the largest value: no end


@dataclass(frozen=True)
class World:
    """One way in which it can be: each contributor's third 0 to 2, and side of the level: 1 over, 0 not, -1 either."""

    third: np.ndarray
    side: np.ndarray


@dataclass(frozen=True)
class Attacker:
    """Somebody who reads a release about `values` (n,), no two alike, and knows those of `known`; `of_share` whether
    they make use of the rule by which a share is left out.
    """

    values: np.ndarray
    cell: Release
    level: float
    known: tuple[int, ...]
    of_share: bool = True

    def interval(self) -> tuple[float, float]:
        """Between what the value of one whom they don't know lies; all those are alike to them."""
        ends = [self._ends(world) for world in self._worlds()]
        lows, highs = zip(*[found for found in ends if found is not None], strict=True)
        return min(lows), max(highs)

    @property
    def target(self) -> int:
        return next(i for i in range(self.values.size) if i not in self.known)

    def counts_over(self) -> list[int] | None:
        """How many may be over the level, by the share that was told or left out; None where that tells nothing."""
        size, share = self.values.size, self.cell.share_over
        few = share_to_tenth(self.values > self.level) is None
        if self.cell.disclosure != "numbers" or (share is None and not (self.of_share and few)):
            # Nothing was told, or it was left out for another reason: they can't know which.
            return None
        return [count for count in range(size + 1) if share_to_tenth(np.arange(size) < count) == share]

    def _worlds(self) -> Iterator[World]:
        """By symmetry it is enough to try each third and side for the target, and any order of the others."""
        n, counts = self.values.size, self.counts_over()
        rank = np.argsort(np.argsort(self.values))
        place = [0 if i < n // 3 else 2 if i >= n - n // 3 else 1 for i in range(n)]
        for count in [None] if counts is None else counts:
            # In ascending order of value.
            slots = [(place[i], -1 if count is None else int(i >= n - count)) for i in range(n)]
            side = [-1 if count is None else int(self.values[i] > self.level) for i in range(n)]
            taken = [(place[rank[i]], side[i]) for i in self.known]
            if all(taken.count(slot) <= slots.count(slot) for slot in taken):
                for slot in taken:
                    slots.remove(slot)
                yield from self._shared_out(taken, slots)

    def _shared_out(self, taken: list[tuple[int, int]], slots: list[tuple[int, int]]) -> Iterator[World]:
        others = [i for i in range(self.values.size) if i not in self.known and i != self.target]
        for own in sorted(set(slots)):
            left = slots.copy()
            left.remove(own)
            given = dict(zip([*self.known, self.target, *others], [*taken, own, *left], strict=True))
            third, side = np.array([given[i] for i in range(self.values.size)]).T
            yield World(third, side)

    def _ends(self, world: World) -> tuple[float, float] | None:
        unit = float(self.values.max())
        rows, sides = self._rows(world)
        low = np.where(world.side == 1, self.level, 0.0)
        high = np.where(world.side == 0, self.level, MANY * unit)
        low[list(self.known)] = high[list(self.known)] = self.values[list(self.known)]
        limits = [*zip(low / unit, np.maximum(low, high) / unit, strict=True), (0, MANY), (0, MANY)]
        found = []
        for sign in (1.0, -1.0):
            costs = np.zeros(self.values.size + 2)
            costs[self.target] = sign
            solved = linprog(costs, A_ub=rows, b_ub=np.array(sides) / unit, bounds=limits, method="highs")
            if solved.status == 2:
                return None
            assert solved.status == 0, solved.message
            found.append(sign * solved.fun * unit)
        return found[0], found[1]

    def _rows(self, world: World) -> tuple[np.ndarray, list[float]]:
        n, cell = self.values.size, self.cell
        mean = before_rounding(cell.mean) if cell.mean is not None else word_range(cell.word, self.level)
        rows, sides = [], []
        told = [(mean, np.ones(n))]
        if cell.middle is not None:
            told.append((before_rounding(cell.middle), (world.third == 1).astype(float)))
        for (least, most), of in told:
            for sign, end in ((1, most), (-1, least)):
                if np.isfinite(end):
                    rows.append(np.concatenate([sign * of, [0, 0]]))
                    sides.append(sign * end * of.sum())
        if cell.disclosure == "numbers":
            for i, third in enumerate(world.third):
                for border, sign in {0: [(0, 1)], 1: [(0, -1), (1, 1)], 2: [(1, -1)]}[int(third)]:
                    row = np.zeros(n + 2)
                    row[i], row[n + border] = sign, -sign
                    rows.append(row)
                    sides.append(0.0)
        return np.array(rows), sides
