"""Four outlines of one source: for whom a report is, how it opens, and which sections it has, in which order.

A section is a module of `server.season_report.sections` with `section(ground)`, or a function of one; it gives None
where it has nothing to say for this farm. What is new gets a module there and its place here.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext_lazy as _

from server.season_report.blocks import Section
from server.season_report.ground import Ground
from server.season_report.sections import (
    applications,
    cards_kept,
    charts,
    complaints,
    corrections,
    counts,
    effects,
    evidence,
    matters,
    methods,
    organic,
    plan,
    programme,
    recorders,
    summary,
    walks,
    work,
)

Make = Callable[[Ground], Section | None]


@dataclass(frozen=True)
class Outline:
    """`opening` says for whom it is and what comes first."""

    name: Any
    title: Any
    opening: Any
    sections: Sequence[Make]


# What stands behind every outline: nothing of it is left out for anybody.
RECORD: tuple[Make, ...] = (
    counts.section, corrections.section, recorders.section, cards_kept.section, evidence.section,
)  # fmt: skip
OUTLINES: dict[str, Outline] = {
    "farm": Outline(
        _("For the farm"),
        _("Fly control: the season"),
        _(
            "This is the farm's own record: how the flies came and went, what was done, and what became of it. All "
            "that was counted stands behind it, count by count."
        ),
        (
            summary.section, charts.section, walks.section, work.section, applications.section, effects.section,
            organic.section, matters.section, plan.section, programme.section, methods.section, *RECORD,
        ),
    ),
    "audit": Outline(
        _("For a buyer's audit"),
        _("Fly control programme and its record"),
        _(
            "This record is for an audit by a buyer of the farm's milk. It says first how the farm watches its flies, "
            "with which methods and from which level it acts; then what was found and done."
        ),
        (
            summary.section, programme.section, methods.section, plan.section, charts.section, walks.section,
            work.section, applications.section, effects.section, organic.section, matters.section, *RECORD,
        ),
    ),
    "neighbor": Outline(
        _("For a neighbor's complaint"),
        _("Fly counts and fly control on record"),
        _(
            "This record is for a neighbor or an authority who asks about flies. It says how and how often flies were "
            "counted here, what the counts were, and what was done. Fly counts on a farm measure the flies' activity "
            "at the places counted; they don't show where flies elsewhere come from."
        ),
        (
            summary.section, complaints.section, methods.section, programme.section, charts.section, walks.section,
            work.section, applications.section, effects.section, matters.section, plan.section, *RECORD,
        ),
    ),
    "organic": Outline(
        _("For an organic certifier"),
        _("Fly control in organic husbandry"),
        _(
            "This record is for an organic certifier. It gives prevention first, then biological and mechanical means, "
            "then every material that was applied, with the reason and the certifier's answer."
        ),
        (
            summary.section, work.prevention, walks.section, work.biological, applications.materials, organic.section,
            effects.section, charts.section, matters.section, programme.section, methods.section, plan.section,
            work.planned, *RECORD,
        ),
    ),
}  # fmt: skip
OUTLINE_CHOICES = [(key, outline.name) for key, outline in OUTLINES.items()]
