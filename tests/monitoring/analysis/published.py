"""Releases as the audit reads them: what a reader makes of the figures, for the tests of gate and audit."""

from collections.abc import Sequence

import numpy as np

from monitoring.analysis.disclosure import NormalRelease, Release, before_rounding, is_over, word_range
from monitoring.analysis.disclosure_audit import LOG_RATIOS, Range, Statement, Week


def in_range(rounded: float | None) -> Range | None:
    return None if rounded is None else before_rounding(rounded)


def in_log_range(rounded: float | None) -> Range | None:
    ends = in_range(rounded)
    return None if ends is None else (float(np.log(ends[0])), float(np.log(ends[1])))


def statement_of(
    cell: Release, values: np.ndarray, level: float, *, at_least: bool = False, members: np.ndarray | None = None
) -> Statement:
    """What a release tells of the members among the values; of everybody where none are named."""
    members = np.ones(values.size, bool) if members is None else members
    if cell.disclosure == "word":
        return Statement(members, mean=word_range(cell.word, level))
    told = None if cell.share_over is None else level
    over = None if told is None else is_over(values, level, at_least=at_least) & members
    return Statement(members, in_range(cell.mean), in_range(cell.middle), cell.thirds.size > 0, told, over)


def week_of(
    cell: Release, values: np.ndarray, level: float, *, at_least: bool = False, watchers: Sequence[np.ndarray] = ()
) -> Week:
    """The audit's week of one release."""
    told = [] if cell.disclosure == "nothing" else [statement_of(cell, values, level, at_least=at_least)]
    return Week(values, told, watchers)


def normal_week_of(cell: NormalRelease, ratios: np.ndarray, watchers: Sequence[np.ndarray] = ()) -> Week:
    """The audit's week of what was told of log ratios (no NaN among them)."""
    if cell.ratio is None:
        return Week(ratios, [], watchers, LOG_RATIOS)
    told = None if cell.share_above is None else 0.0
    members = np.ones(ratios.size, bool)
    above = None if told is None else ratios > 0
    of = Statement(members, in_log_range(cell.ratio), in_log_range(cell.middle), level=told, over=above)
    return Week(ratios, [of], watchers, LOG_RATIOS)
