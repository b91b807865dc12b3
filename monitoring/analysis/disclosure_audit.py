"""What could be worked out from a region's published figures, by linear programs: the attack a report must survive.

Written apart from the gate (monitoring.analysis.disclosure) and knowing none of its rules: it reads what was published
and asks HiGHS how far each contributor's value can be bounded by those who know their own.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property
from itertools import combinations

import numpy as np

from monitoring.analysis.disclosure_programs import AuditError, Blocks, Facts, Question, bounds, solve
from monitoring.analysis.disclosure_statements import COUNTED, LOG_RATIOS, TOLERANCE, Range, Scale, Statement
from monitoring.analysis.shapes import Bools, Floats, Ints

__all__ = ["COUNTED", "LOG_RATIOS", "AuditError", "Breach", "Range", "Scale", "Statement", "Week", "bounds"]

COALITION = 2
COALITION_FROM = 3  # two are every pair
# Where several statements overlap, what is told of all and of a part tells of the rest: so many must remain.
REMAINDER_FROM = 10  # contributors


@dataclass(frozen=True)
class Breach:
    """A contributor (its index) whose value some others bound too well, `low` to `high`; `by` are their indices.

    Without `by` and without ends: one of so few who remain between statements that these tell a number of them.
    """

    target: int
    by: tuple[int, ...]
    low: float
    high: float


@dataclass(frozen=True)
class Week:
    """A region's week by one method: the frozen values, all that was published of them, and who sees several.

    Parameters
    ----------
    values : (n,) array of float -- one value a contributor, in the scale's unit; no NaN.
    statements : everything published about these values.
    watchers : of (n,) bool arrays -- for each person who may see several contributors, whom.
    scale : of the values.

    Notes
    -----
    Each statement becomes interval constraints on unknown values. Contributors of whom the same is told can't be told
    apart, so their unknown values may be replaced by their average without leaving the constraints, and a program has
    one variable a *block* instead of one a contributor: exact, and as small for ten thousand as for ten.

    Where the attacker isn't told everything, they are given more: they know how many contributed, how many of each
    block are in each third and over the level, and their own third. So the bounds are too narrow, never too wide
    (a test holds them against mixed-integer programs in which all this is unknown).
    Thirds enter as two unknown borders: nobody in the lower third is above the first, nobody in the upper below the
    second. A value is asked for in the block where it can be largest, and in that where it can be smallest.

    Relaxed, so that the true bounds can be narrower: values are any numbers, not counts over a number of devices; and
    what was not told tells nothing, though who knows the rules knows when they would have told it.
    """

    values: Floats
    statements: Sequence[Statement]
    watchers: Sequence[Bools] = ()
    scale: Scale = field(default=COUNTED)

    def breaches(self, pairs: Sequence[tuple[int, int]] | None = None) -> list[Breach]:
        """Whom two contributors, or somebody who sees several, bound too well; each coalition's worst, or none. And
        who is left among fewer than ten by statements about overlapping contributors, whom rounding alone hides.

        `pairs` are those that are tried; without, those that can be strongest (see `strongest_pairs`).
        """
        if not self.statements or not self.values.size:
            return []
        asked = [each for known in self._coalitions(pairs) for each in self._asked(known)]
        found = [self._worst(question, ends) for question, ends in zip(asked, solve(self._facts, asked), strict=True)]
        return [breach for breach in found if breach is not None] + self._remainders()

    def slack(self, pair: tuple[int, int]) -> float:
        """How much nearer an end could come to the worst placed value before it were too near; negative: it is."""
        asked = self._asked(np.array(pair, np.int64))
        ends = solve(self._facts, asked)
        return float(min((self._room(*each) for each in zip(asked, ends, strict=True)), default=np.inf))

    def intervals(self, known: Sequence[int]) -> list[tuple[Bools, float, float]]:
        """Whom those who know these can't tell apart (n,), and between what the value of any of them lies for them."""
        asked = self._asked(np.array(known, np.int64))
        ends = solve(self._facts, asked).tolist()
        whom = [~one.known & (one.blocks.classes == one.blocks.classes[one.target]) for one in asked[::2]]
        return list(zip(whom, ends[1::2], ends[::2], strict=True))

    def untrue(self) -> bool:
        """Whether a statement is not true of the values: published of other values than were frozen."""
        return any(not statement.is_true_of(self.values) for statement in self.statements)

    def strongest_pairs(self) -> list[tuple[int, int]]:
        """The pairs that can leave least room: of the largest three of each statement and of what remains between
        statements, and of the largest two of each block.

        For sums and means the two largest others are strongest; thirds and the middle third add those that lie highest
        in a lower third, since they leave least below, and equal values on both sides of a border, which fix it. A test
        tries all pairs of groups of ten and fourteen.
        """
        classes, of = self._blocks.classes, self._blocks.of
        threes = [np.flatnonzero(statement.members) for statement in self.statements]
        threes += [np.flatnonzero(classes == one) for one in np.unique(classes)]
        # Those who lie elsewhere than they were told are a block of their own.
        _, apart = np.unique(np.column_stack([of, self._told]), axis=0, return_inverse=True)
        twos = [np.flatnonzero(apart.ravel() == block) for block in np.unique(apart)]
        at_a_border = np.unique(self.values[(self._told != self._blocks.thirds).any(axis=1)])
        twos += [np.flatnonzero((self.values == value) & (of == block)) for value in at_a_border for block in set(of)]
        top = {one for of_it in threes for one in self._outermost(of_it, 3)}
        top |= {one for of_it in twos for one in self._outermost(of_it, 2)}
        return list(combinations(sorted(top), 2))

    def _outermost(self, of_it: Ints, count: int) -> list[int]:
        """The largest of some contributors, and the smallest where their values have no end below either."""
        ordered: list[int] = of_it[np.argsort(self.values[of_it], kind="stable")].tolist()
        return ordered[-count:] + (ordered[:count] if self.scale.natural is None else [])

    @cached_property
    def _facts(self) -> Facts:
        return Facts(self.values, self.statements, self.scale)

    @cached_property
    def _blocks(self) -> Blocks:
        return Blocks.of_facts(self._facts)

    def _remainders(self) -> list[Breach]:
        """One of each class that several statements leave with too few contributors, however well they are rounded."""
        classes, members = self._blocks.classes, np.array([each.members for each in self.statements])
        counted = members.any(axis=0)
        sizes = np.bincount(classes[counted], minlength=classes.max() + 1)
        few = [one for one in np.flatnonzero((sizes > 0) & (sizes < REMAINDER_FROM)) if len(self.statements) > 1]
        return [Breach(int(np.flatnonzero(classes == one)[0]), (), -np.inf, np.inf) for one in few]

    def _coalitions(self, pairs: Sequence[tuple[int, int]] | None) -> list[Ints]:
        """Who lays their values together, (n_known,) indices each; where there are but two, also either and neither."""
        size = self.values.size
        tried = [np.array(pair) for pair in (self.strongest_pairs() if pairs is None else pairs)]
        if size <= COALITION:
            tried += [np.array(few, np.int64) for fewer in range(size) for few in combinations(range(size), fewer)]
        return tried + [np.flatnonzero(seen) for seen in self.watchers if COALITION_FROM <= seen.sum() < size]

    def _asked(self, known: Ints) -> list[Question]:
        """For each class of contributors that can't be told apart: how large, and how small, one of them can be."""
        mine = np.zeros(self.values.size, bool)
        mine[known] = True
        blocks = self._blocks_for(mine)
        asked = []
        for group in np.unique(blocks.classes[~mine]):
            unknown = np.flatnonzero(~mine & (blocks.classes == group))
            # Of equal values the one in the lower third first: where they lie on both sides of a border.
            by_value = unknown[np.lexsort((blocks.thirds[unknown].sum(axis=1), self.values[unknown]))]
            asked.append(Question(mine, int(by_value[-1]), blocks, largest=True))
            asked.append(Question(mine, int(by_value[0]), blocks, largest=False))
        return asked

    def _blocks_for(self, known: Bools) -> Blocks:
        """The blocks as those who know see them: their own third, where equal values leave it open, is as told."""
        if all((each[known] == self._told[known, number]).all() for number, each in enumerate(self._blocks.thirds.T)):
            return self._blocks
        return Blocks.of_facts(self._facts, known)

    @cached_property
    def _told(self) -> Ints:
        told = [each.told_third(self.values) for each in self.statements]
        return np.array(told, np.int64).reshape(-1, self.values.size).T

    def _room(self, question: Question, end: float) -> float:
        """How far an end is from where it would be too near, over all whom it holds for; negative where it is."""
        classes = question.blocks.classes
        values = self.values[~question.known & (classes == classes[question.target])]
        slack = TOLERANCE * max(1.0, float(np.abs(self.values).max()))
        natural = self.scale.natural
        if not question.largest and natural is not None and end <= natural + slack:
            return float(np.inf)
        away = end - values if question.largest else values - end
        return float((away - self.scale.margin(values)).min()) + slack

    def _worst(self, question: Question, end: float) -> Breach | None:
        if self._room(question, end) >= 0:
            return None
        by = tuple(int(i) for i in np.flatnonzero(question.known))
        ends = (-np.inf, end) if question.largest else (end, np.inf)
        return Breach(question.target, by, *ends)
