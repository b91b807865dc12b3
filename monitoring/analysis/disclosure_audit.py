"""What could be worked out from a region's published figures, by linear programs: the attack a report must survive.

Written apart from the gate (monitoring.analysis.disclosure) and knowing none of its rules: it reads what was published
and asks HiGHS how far each contributor's value can be bounded by those who know their own.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property
from itertools import combinations
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import linprog
from scipy.sparse import block_diag

from monitoring.analysis.shapes import Bools, Floats, Ints

WITHIN = 0.15  # of a value
COUNTS = 5.0  # in the method's unit
# Two ends that differ by less than this share of the largest value are one: what a solver's tolerance leaves.
TOLERANCE = 1e-7
MIDDLE = 1  # of the thirds 0, 1, 2 of sorted values
Range = tuple[float, float]


class AuditError(Exception):
    """The audit came to no end: nothing may be published on its word."""


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


@dataclass(frozen=True)
class Scale:
    """What values can be: not below `natural`, and how near is too near.

    Counts end at 0 by nature, and an end within 15 % or five counts tells; log ratios have no end in sight (`reach`
    both ways), and a ratio within 15 % tells.
    """

    natural: float | None = 0.0
    within: float = WITHIN
    counts: float = COUNTS
    reach: float = np.inf

    def margin(self, values: Floats) -> Floats:
        return np.maximum(self.within * np.abs(values), self.counts)


COUNTED = Scale()
LOG_RATIOS = Scale(natural=None, within=0.0, counts=float(np.log1p(WITHIN)), reach=float(np.log(1000)))


@dataclass(frozen=True)
class Breach:
    """A contributor (its index) whose value some others bound too well, `low` to `high`; `by` are their indices."""

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
    block are in each third and over the level, and their own third. So the bounds are too narrow, never too wide.
    Thirds enter as two unknown borders: nobody in the lower third is above the first, nobody in the upper below the
    second. A value is asked for in the block where it can be largest, and in that where it can be smallest.
    """

    values: Floats
    statements: Sequence[Statement]
    watchers: Sequence[Bools] = ()
    scale: Scale = field(default=COUNTED)

    def breaches(self, pairs: Sequence[tuple[int, int]] | None = None) -> list[Breach]:
        """Whom two contributors, or somebody who sees several, bound too well; each coalition's worst, or none.

        `pairs` are those that are tried; without, those that can be strongest (see `strongest_pairs`).
        """
        if self.values.size == 0:
            return []
        tried: list[Ints] = [np.array(pair) for pair in (self.strongest_pairs() if pairs is None else pairs)]
        tried += [np.flatnonzero(seen) for seen in self.watchers if COALITION_FROM <= seen.sum() < self.values.size]
        asked = [each for known in tried for each in self._asked(known)]
        found = [self._worst(question, ends) for question, ends in zip(asked, _solve(self, asked), strict=True)]
        return [breach for breach in found if breach is not None]

    def slack(self, pair: tuple[int, int]) -> float:
        """How much nearer an end could come to the worst placed value before it were too near; negative: it is."""
        known = np.array(pair)
        asked = self._asked(known)
        room = [_room(self, question, ends) for question, ends in zip(asked, _solve(self, asked), strict=True)]
        return float(min(room, default=np.inf))

    def untrue(self) -> bool:
        """Whether a statement is not true of the values: published of other values than were frozen."""
        return any(not _holds(statement, self.values) for statement in self.statements)

    def strongest_pairs(self) -> list[tuple[int, int]]:
        """The pairs that can leave least room: of the largest three, and of the largest of each block.

        For sums and means the two largest others are strongest; thirds and the middle third add those that lie highest
        in a lower third, since they leave least below. A test tries all pairs of groups of ten and fourteen.
        """
        top: set[int] = set()
        for statement in self.statements:
            of_it = np.flatnonzero(statement.members)
            top |= {int(i) for i in of_it[np.argsort(self.values[of_it], kind="stable")[-3:]]}
        for block in range(self.blocks.count):
            of_it = np.flatnonzero(self.blocks.of == block)
            top |= {int(i) for i in of_it[np.argsort(self.values[of_it], kind="stable")[-2:]]}
        return list(combinations(sorted(top), 2))

    @cached_property
    def blocks(self) -> "Blocks":
        return Blocks.of_week(self)

    def _asked(self, known: Ints) -> list["Question"]:
        """For each class of contributors that can't be told apart: how large, and how small, one of them can be."""
        mine = np.zeros(self.values.size, bool)
        mine[known] = True
        asked = []
        for group in np.unique(self.blocks.classes[~mine]):
            unknown = np.flatnonzero(~mine & (self.blocks.classes == group))
            by_value = unknown[np.argsort(self.values[unknown], kind="stable")]
            asked.append(Question(mine, int(by_value[-1]), largest=True))
            asked.append(Question(mine, int(by_value[0]), largest=False))
        return asked

    def _worst(self, question: "Question", end: float) -> Breach | None:
        if _room(self, question, end) >= 0:
            return None
        by = tuple(int(i) for i in np.flatnonzero(question.known))
        ends = (-np.inf, end) if question.largest else (end, np.inf)
        return Breach(question.target, by, *ends)


COALITION_FROM = 3  # two are every pair


@dataclass(frozen=True)
class Question:
    """How large or small the value of `target` can be for whoever knows the values of `known` (n,)."""

    known: Bools
    target: int
    largest: bool


@dataclass(frozen=True)
class Blocks:
    """Which contributors can't be told apart by what was published: `of` (n,) the block, `classes` (n,) the statements
    that count them, alike for those who might stand in each other's place.
    """

    of: Ints
    classes: Ints
    count: int
    first: Ints
    thirds: NDArray[np.int8]

    @classmethod
    def of_week(cls, week: Week) -> "Blocks":
        members = np.array([each.members for each in week.statements]).T.reshape(week.values.size, -1)
        thirds = np.array([_third_in(each, week.values) for each in week.statements]).T.reshape(week.values.size, -1)
        sides = np.array([_side_in(each) for each in week.statements]).T.reshape(week.values.size, -1)
        key = np.hstack([members, thirds, sides]).astype(np.int8)
        _, first, of = np.unique(key, axis=0, return_index=True, return_inverse=True)
        _, classes = np.unique(members, axis=0, return_inverse=True)
        return cls(of.ravel(), classes.ravel(), first.size, first, thirds.astype(np.int8))


def bounds(sums: ArrayLike, low: ArrayLike, high: ArrayLike) -> Floats:
    """Between what values each cell of a table lies when only sums over some cells are known, none negative.

    Parameters
    ----------
    sums : (m, n) array of 0 and 1 -- which cells each known sum adds up.
    low, high : (m,) arrays -- between what each sum lies; the same where it was published as it is.

    Returns
    -------
    (n, 2) array -- the smallest and largest value of each cell.

    References
    ----------
    Geurts 1992, Heuristics for cell suppression in tables (the 2 x 2 block in the Handbook on Statistical Disclosure
    Control, ch. 4).

    >>> rows_and_columns = [[1, 1, 0, 0], [0, 0, 1, 1], [1, 0, 1, 0], [0, 1, 0, 1]]
    >>> bounds(rows_and_columns, [7, 3, 6, 4], [7, 3, 6, 4])[0].round(6).tolist()
    [3.0, 6.0]
    """
    matrix = np.asarray(sums, np.float64)
    rows, sides = np.vstack([matrix, -matrix]), np.concatenate([np.asarray(high), -np.asarray(low)]).astype(float)
    ends = [[_optimum(sign * row, rows, sides) for sign in (1, -1)] for row in np.eye(matrix.shape[1])]
    return np.array(ends) * [1, -1]


def _optimum(costs: Floats, rows: Floats, sides: Floats) -> float:
    solved: Any = linprog(costs, A_ub=rows, b_ub=sides, bounds=(0, None), method="highs")
    if solved.status != 0:
        raise AuditError(f"HiGHS found no optimum: {solved.message}")
    return float(solved.fun)


def _room(week: Week, question: Question, end: float) -> float:
    """How far an end is from where it would be too near, over all whom the end holds for; negative where it is."""
    unknown = ~question.known & (week.blocks.classes == week.blocks.classes[question.target])
    values = week.values[unknown]
    slack = TOLERANCE * max(1.0, float(np.abs(week.values).max()))
    natural = week.scale.natural
    if not question.largest and natural is not None and end <= natural + slack:
        return float(np.inf)
    away = end - values if question.largest else values - end
    return float((away - week.scale.margin(values)).min()) + slack


def _solve(week: Week, asked: Sequence[Question]) -> Floats:
    """The ends that are asked for; all programs are solved as one, since none shares a variable with another."""
    if not asked:
        return np.zeros(0)
    unit = max(float(np.abs(week.values).max()), 1.0)
    programs = [_program(week, question, unit) for question in asked]
    solved: Any = linprog(
        np.concatenate([each.costs for each in programs]),
        A_ub=_side_by_side([each.rows for each in programs]),
        b_ub=np.concatenate([each.sides for each in programs]),
        bounds=[tuple(limit) for each in programs for limit in each.limits.tolist()],
        method="highs",
    )
    if solved.status != 0:
        raise AuditError(f"HiGHS found no optimum: {solved.message}")
    width = programs[0].costs.size
    return np.asarray(solved.x[width - 1 :: width] * unit, np.float64)


def _side_by_side(programs: Sequence[Floats]) -> Any:
    return block_diag(programs, format="csr")


@dataclass(frozen=True)
class Program:
    """costs' x to be smallest where rows x <= sides and x within its limits; the last variable is what is asked for."""

    costs: Floats
    rows: Floats
    sides: Floats
    limits: Floats


def _program(week: Week, question: Question, unit: float) -> Program:
    """Variables: two borders a statement, the average of each block's unknown values, the target's value."""
    blocks, borders = week.blocks, 2 * len(week.statements)
    width = borders + blocks.count + 1
    unknown = ~question.known
    unknown[question.target] = False
    counts = np.bincount(blocks.of[unknown], minlength=blocks.count)
    limits = _limits(week, question, width, unit)
    rows: list[Floats] = []
    sides: list[float] = []
    for number, statement in enumerate(week.statements):
        rows_of, sides_of = _sums(week, statement, number, question, counts, width)
        rows += rows_of
        sides += [side / unit for side in sides_of]
        if statement.thirds or statement.middle is not None:
            between = _between_borders(week, number, question, width)
            rows += between
            sides += [0.0] * len(between)
    costs = np.zeros(width)
    costs[-1] = -1.0 if question.largest else 1.0
    return Program(costs, np.array(rows).reshape(-1, width), np.array(sides), limits)


def _limits(week: Week, question: Question, width: int, unit: float) -> Floats:
    """What each variable can be: by nature, by the level, and the borders by the values that are known."""
    borders = 2 * len(week.statements)
    floor = -week.scale.reach if week.scale.natural is None else week.scale.natural
    # A word such as "high" has no upper end; a value a thousand times the largest bounds nothing.
    top = week.scale.reach if week.scale.natural is None else 1000 * unit
    limits = np.tile([floor, top], (width, 1)).astype(np.float64)
    for block, first in enumerate(week.blocks.first):
        _to_its_side(limits[borders + block], week, int(first))
    _to_its_side(limits[-1], week, question.target)
    for number in range(len(week.statements)):
        third = week.blocks.thirds[:, number]
        low, high = limits[2 * number], limits[2 * number + 1]
        for border, below, above in ((low, 0, 1), (high, 1, 2)):
            known = week.values[question.known & (third == below)]
            border[0] = max(border[0], known.max(initial=floor))
            known = week.values[question.known & (third == above)]
            border[1] = min(border[1], known.min(initial=top))
    return limits / unit


def _to_its_side(limit: Floats, week: Week, index: int) -> None:
    """Narrow a variable's limits to the side of the level that its block is told to lie on."""
    for statement in week.statements:
        if statement.level is None or statement.over is None or not statement.members[index]:
            continue
        if statement.over[index]:
            limit[0] = max(limit[0], statement.level)
        else:
            limit[1] = min(limit[1], statement.level)


def _sums(
    week: Week, statement: Statement, number: int, question: Question, counts: Ints, width: int
) -> tuple[list[Floats], list[float]]:
    """The rows of a statement's mean and of its middle third: at most so much, at least so much."""
    rows: list[Floats] = []
    sides: list[float] = []
    of_middle = week.blocks.thirds[:, number] == MIDDLE
    for told, counted in ((statement.mean, statement.members), (statement.middle, of_middle)):
        if told is None:
            continue
        row = np.zeros(width)
        row[2 * len(week.statements) : -1] = counts * counted[week.blocks.first]
        row[-1] = counted[question.target]
        own = week.values[question.known & counted].sum()
        for sign, end in ((1, told[1]), (-1, told[0])):
            if np.isfinite(end):
                rows.append(sign * row)
                sides.append(sign * (end * counted.sum() - own))
    return rows, sides


def _between_borders(week: Week, number: int, question: Question, width: int) -> list[Floats]:
    """Rows that keep each block, and the target, on its side of the two borders between thirds."""
    borders = 2 * len(week.statements)
    variables = [(borders + block, int(first)) for block, first in enumerate(week.blocks.first)]
    rows = []
    for variable, index in [*variables, (width - 1, question.target)]:
        third = week.blocks.thirds[index, number]
        if third < 0:
            continue
        for border, sign in ((0, 1 if third == 0 else -1), (1, -1 if third == 2 else 1)):
            if (third == 0 and border == 1) or (third == 2 and border == 0):
                continue
            row = np.zeros(width)
            row[variable], row[2 * number + border] = sign, -sign
            rows.append(row)
    return rows


def _third_in(statement: Statement, values: Floats) -> NDArray[np.int8]:
    """The third of each contributor among a statement's members, 0 to 2; -1 where none is told."""
    third = np.full(values.size, -1, np.int8)
    if statement.thirds or statement.middle is not None:
        of_it = np.flatnonzero(statement.members)
        order = of_it[np.argsort(values[of_it], kind="stable")]
        size = order.size // 3
        third[order] = MIDDLE
        third[order[:size]] = 0
        third[order[order.size - size :]] = 2
    return third


def _side_in(statement: Statement) -> NDArray[np.int8]:
    """1 over the level, 0 not, -1 where it wasn't told or isn't counted."""
    if statement.over is None:
        return np.full(statement.members.size, -1, np.int8)
    return np.where(statement.members, statement.over, -1).astype(np.int8)


def _holds(statement: Statement, values: Floats) -> bool:
    own = values[statement.members]
    if own.size == 0:
        return statement.mean is None and statement.middle is None
    middle = np.sort(own)[own.size // 3 : own.size - own.size // 3].mean()
    slack = TOLERANCE * max(1.0, float(np.abs(own).max()))
    told = ((statement.mean, own.mean()), (statement.middle, middle))
    return all(each is None or each[0] - slack <= true <= each[1] + slack for each, true in told)
