"""The last step before a region's reports are out: could anybody be worked out from them, all taken together?"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from monitoring.analysis.disclosure import before_rounding, is_over, word_range
from monitoring.analysis.disclosure_audit import LOG_RATIOS, AuditError, Range, Statement, Week
from monitoring.analysis.shapes import Bools
from monitoring.models import RegionReport
from monitoring.models.region import Disclosure, HeldReason
from monitoring.regional.contributions import Contributors


@dataclass(frozen=True)
class Published:
    """A report as it is to be published, of whom (`members` (n,)), and whether they are told their own third."""

    report: RegionReport
    members: Bools
    tells_thirds: bool
    at_least: bool


def reason_to_hold(contributors: Contributors, published: Sequence[Published], watchers: Sequence[Bools]) -> str:
    """Why these reports of one method and week may not be published; "" where they may.

    From what the reports say, not from how they were made: each is read as a reader would, and held against the values
    that were frozen.
    """
    weeks = [_counted(contributors, published, watchers), _normal(contributors, published, watchers)]
    try:
        if any(week.untrue() for week in weeks):
            return HeldReason.UNTRUE
        return HeldReason.BOUNDED if any(week.breaches() for week in weeks) else ""
    except AuditError:
        return HeldReason.UNSOLVED


def _counted(contributors: Contributors, published: Sequence[Published], watchers: Sequence[Bools]) -> Week:
    statements = [_of_counts(each, contributors) for each in published if each.report.disclosure != Disclosure.NOTHING]
    return Week(contributors.values, statements, watchers)


def _of_counts(each: Published, contributors: Contributors) -> Statement:
    report, level = each.report, float(each.report.level or np.inf)
    if report.disclosure == Disclosure.WORD:
        return Statement(each.members, mean=word_range(report.word, level))
    share = report.share_over is not None
    over = is_over(contributors.values, level, at_least=each.at_least) & each.members
    return Statement(
        each.members, _range(report.mean), _range(report.middle), each.tells_thirds, level if share else None,
        over if share else None,
    )  # fmt: skip


def _normal(contributors: Contributors, published: Sequence[Published], watchers: Sequence[Bools]) -> Week:
    known = ~np.isnan(contributors.ratios)
    ratios = contributors.ratios[known]
    told = [each for each in published if each.report.normal is not None]
    statements = [_of_ratios(each.report, each.members[known], ratios) for each in told]
    return Week(ratios, statements, [seen[known] for seen in watchers], LOG_RATIOS)


def _of_ratios(report: RegionReport, members: Bools, ratios: np.ndarray) -> Statement:
    share = report.normal_share is not None
    return Statement(
        members, _log_range(report.normal), _log_range(report.normal_middle), level=0.0 if share else None,
        over=(ratios > 0) & members if share else None,
    )  # fmt: skip


def _range(rounded: float | None) -> Range | None:
    return None if rounded is None else before_rounding(rounded)


def _log_range(rounded: float | None) -> Range | None:
    if rounded is None:
        return None
    low, high = before_rounding(rounded)
    return float(np.log(low)), float(np.log(high))
