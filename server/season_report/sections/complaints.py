"""Complaints that were ticked: what was said, what the counts were then, what was answered. In one outline alone.

They are the farm's own, so none is told unless it was chosen for this report. Who said it is told where an owner wants
names, and who of the farm answered never.
"""

from collections.abc import Sequence

from django.utils.translation import gettext as _

from alerts.wording.numbers import amount
from alerts.wording.results import heading
from server.season_report.blocks import Block, Column, Facts, Section, Subhead, Table, Value, Words
from server.season_report.ground import Ground
from server.season_report.told import NONE, exact, first_up, role, shown
from server.web.complaints import Answer, ComplaintTold, CountThen
from server.web.words import level_name


def section(ground: Ground) -> Section | None:
    """None where none was ticked."""
    if not ground.complaints:
        return None
    blocks: list[Block] = [
        Words(
            _("Those that the farm chose for this report, each as it was noted, with the weekly means about its day: "
              "from two weeks before to one week after.")
        ),
    ]  # fmt: skip
    for told in ground.complaints:
        blocks += _complaint(ground, told)
    blocks.append(
        Words(
            _("From the readings as they stand now, corrections included. Counts measure activity, and action levels "
              "are a starting point: they say nothing of what somebody felt at home."), "soft"
        )
    )  # fmt: skip
    return Section("complaints", _("Complaints"), blocks)


def _complaint(ground: Ground, told: ComplaintTold) -> list[Block]:
    row, words = told.row, told.words
    title = f"{shown(row.heard_on)} · {first_up(row.get_said_by_display())}, {row.get_came_display()}"
    noted = f"{shown(ground.on_the_clock(row.recorded_at))}, {role(row.actor_kind)}"
    pairs: list[tuple[str, Value]] = [
        (_("What was said"), words.get("said") or _("erased")),
        (_("Said by"), words.get("sender") if ground.wanted.names else None),
        (_("From where"), words.get("place")),
        (_("Recorded"), noted),
        (_("Changed since it was first noted"), words.get("reason") or (_("yes") if row.replaces_id else None)),
    ]
    return [
        Subhead(title),
        Facts([(term, value) for term, value in pairs if value]),
        _counts(ground.counts_about[row.heard_on]),
        _answers(told.answers),
    ]


def _counts(found: Sequence[CountThen]) -> Table:
    columns = [
        Column(_("Week of"), 1.3), Column(_("What"), 1), Column(_("Mean"), 0.8, is_figure=True),
        Column(_("Places counted"), 1, is_figure=True), Column(_("Action level"), 0.9, is_figure=True),
        Column(_("How it stood"), 1.5),
    ]  # fmt: skip
    empty = _("Nothing was counted in the weeks about that day. That is a gap, not a zero.")
    return Table(_("What was counted then"), columns, [_count(each) for each in found], empty, titled=True)


def _count(found: CountThen) -> list[Value]:
    if found.mean is None:
        return [found.week, heading(found.method), NONE, NONE, exact(found.level), first_up(_("not counted"))]
    mean = amount(found.mean, beside=found.level) if found.level is not None else amount(found.mean)
    level = level_name(found.result) if found.level is not None else _("no level")
    return [
        found.week,
        heading(found.method),
        f"{mean}+" if found.at_least else mean,
        found.devices,
        exact(found.level),
        first_up(level),
    ]


def _answers(answers: Sequence[Answer]) -> Table:
    columns = [Column(_("Day"), 1), Column(_("Answer"), 4), Column(_("How"), 1), Column(_("Noted by"), 1)]
    return Table(
        _("What was answered"), columns, [_answer(each) for each in answers], _("No answer is on record."), titled=True
    )


def _answer(answer: Answer) -> list[Value]:
    """One that was changed since stays, and says so."""
    said = answer.words.get("answered") or _("erased")
    if answer.row.replaced:
        said = f"{said} ({_('changed since; it holds no longer')})"
    row = answer.row
    return [row.answered_on, said, first_up(row.get_went_display()), first_up(role(row.actor_kind))]
