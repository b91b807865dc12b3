"""How large or small can a contributor's value be by what was published? Linear programs, solved by HiGHS."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import ArrayLike
from scipy.optimize import linprog
from scipy.sparse import block_diag

from monitoring.analysis.disclosure_statements import COUNTED, LOWER, MIDDLE, UPPER, Range, Scale, Statement, Thirds
from monitoring.analysis.shapes import Bools, Floats, Ints


class AuditError(Exception):
    """The audit came to no end: nothing may be published on its word."""


@dataclass(frozen=True)
class Facts:
    """The values that a program is about, (n,), everything that was published of them, and what values can be."""

    values: Floats
    statements: Sequence[Statement]
    scale: Scale = COUNTED

    @cached_property
    def unit(self) -> float:
        """What the programs count in, so that a solver's tolerance means the same for every method."""
        return max(float(np.abs(self.values).max(initial=0.0)), 1.0)

    @cached_property
    def ends(self) -> Range:
        return self.scale.ends(self.values)


@dataclass(frozen=True)
class Blocks:
    """Which contributors can't be told apart by what was published: `of` (n,) the block, `classes` (n,) the statements
    that count them, alike for those who might stand in each other's place; `first` (count,) one of each block, and
    `thirds` (n, n_statements) where each counts.
    """

    of: Ints
    classes: Ints
    first: Ints
    thirds: Thirds

    @property
    def count(self) -> int:
        return self.first.size

    @classmethod
    def of_facts(cls, facts: Facts, known: Bools | None = None) -> "Blocks":
        size = facts.values.size
        members = _columns([each.members for each in facts.statements], size)
        thirds = _columns([each.third(facts.values, known) for each in facts.statements], size)
        sides = _columns([each.side() for each in facts.statements], size)
        _, first, of = np.unique(np.hstack([members, thirds, sides]), axis=0, return_index=True, return_inverse=True)
        _, classes = np.unique(members, axis=0, return_inverse=True)
        return cls(of.ravel(), classes.ravel(), first, thirds)


@dataclass(frozen=True)
class Question:
    """How large or small the value of `target` can be for whoever knows the values of `known` (n,)."""

    known: Bools
    target: int
    blocks: Blocks
    largest: bool


def solve(facts: Facts, asked: Sequence[Question]) -> Floats:
    """The ends that are asked for; all programs are solved as one, since none shares a variable with another."""
    if not asked:
        return np.zeros(0)
    programs = [_program(facts, question) for question in asked]
    solved: Any = linprog(
        np.concatenate([each.costs for each in programs]),
        A_ub=_side_by_side([each.rows for each in programs]),
        b_ub=np.concatenate([each.sides for each in programs]),
        bounds=[tuple(limit) for each in programs for limit in each.limits.tolist()],
        method="highs",
    )
    if solved.status != 0:
        raise AuditError(f"HiGHS found no optimum: {solved.message}")
    last = np.cumsum([each.costs.size for each in programs]) - 1
    return np.asarray(solved.x[last] * facts.unit, np.float64)


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


@dataclass(frozen=True)
class Program:
    """costs' x to be smallest where rows x <= sides and x within its limits; the last variable is what is asked for."""

    costs: Floats
    rows: Floats
    sides: Floats
    limits: Floats


def _program(facts: Facts, question: Question) -> Program:
    """Variables: two borders a statement, the average of each block's unknown values, the target's value."""
    blocks, borders = question.blocks, 2 * len(facts.statements)
    width = borders + blocks.count + 1
    unknown = ~question.known
    unknown[question.target] = False
    counts = np.bincount(blocks.of[unknown], minlength=blocks.count)
    rows: list[Floats] = []
    sides: list[float] = []
    for number, statement in enumerate(facts.statements):
        rows_of, sides_of = _sums(facts, number, question, counts)
        rows += rows_of
        sides += [side / facts.unit for side in sides_of]
        if statement.sorts:
            between = _between_borders(number, question, borders)
            rows += between
            sides += [0.0] * len(between)
    costs = np.zeros(width)
    costs[-1] = -1.0 if question.largest else 1.0
    return Program(costs, np.array(rows).reshape(-1, width), np.array(sides), _limits(facts, question, width))


def _limits(facts: Facts, question: Question, width: int) -> Floats:
    """What each variable can be: by nature, by the level, and the borders by the values that are known."""
    borders = 2 * len(facts.statements)
    floor, top = facts.ends
    limits = np.tile([floor, top], (width, 1)).astype(np.float64)
    for block, first in enumerate(question.blocks.first):
        _to_its_side(limits[borders + block], facts, int(first))
    _to_its_side(limits[-1], facts, question.target)
    for number, third in enumerate(question.blocks.thirds[question.known].T):
        known = facts.values[question.known]
        for border, below in ((2 * number, LOWER), (2 * number + 1, MIDDLE)):
            limits[border] = known[third == below].max(initial=floor), known[third == below + 1].min(initial=top)
    return limits / facts.unit


def _to_its_side(limit: Floats, facts: Facts, index: int) -> None:
    """Narrow a variable's limits to the side of the level that its block is told to lie on."""
    for statement in facts.statements:
        if statement.level is None or statement.over is None or not statement.members[index]:
            continue
        if statement.over[index]:
            limit[0] = max(limit[0], statement.level)
        else:
            limit[1] = min(limit[1], statement.level)


def _sums(facts: Facts, number: int, question: Question, counts: Ints) -> tuple[list[Floats], list[float]]:
    """The rows of a statement's mean and of its middle third: at most so much, at least so much."""
    statement, blocks, borders = facts.statements[number], question.blocks, 2 * len(facts.statements)
    rows: list[Floats] = []
    sides: list[float] = []
    of_middle = blocks.thirds[:, number] == MIDDLE
    for told, counted in ((statement.mean, statement.members), (statement.middle, of_middle)):
        if told is None:
            continue
        row = np.concatenate([np.zeros(borders), counts * counted[blocks.first], [counted[question.target]]])
        own = facts.values[question.known & counted].sum()
        for sign, end in ((1, told[1]), (-1, told[0])):
            if np.isfinite(end):
                rows.append(sign * row)
                sides.append(sign * (end * counted.sum() - own))
    return rows, sides


def _between_borders(number: int, question: Question, borders: int) -> list[Floats]:
    """Rows that keep each block, and the target, on its side of the two borders between thirds."""
    blocks = question.blocks
    width = borders + blocks.count + 1
    variables = [(borders + block, int(first)) for block, first in enumerate(blocks.first)]
    rows = []
    for variable, index in [*variables, (width - 1, question.target)]:
        for border, sign in _SIDES_OF.get(int(blocks.thirds[index, number]), ()):
            row = np.zeros(width)
            row[variable], row[2 * number + border] = sign, -sign
            rows.append(row)
    return rows


# Which border each third is at most (1) and at least (-1).
_SIDES_OF = {LOWER: ((0, 1),), MIDDLE: ((0, -1), (1, 1)), UPPER: ((1, -1),)}


def _columns(of_statements: Sequence[Any], size: int) -> Thirds:
    return np.array(of_statements, np.int8).reshape(-1, size).T


def _side_by_side(programs: Sequence[Floats]) -> Any:
    return block_diag(programs, format="csr")
