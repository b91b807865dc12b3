"""Fly walks: where somebody looked for places where flies hatch, what was found there, and what became of it.

What people wrote on one is told where an owner wants it, and by whom a thing is done never: workers' names stay.
"""

from collections import defaultdict
from collections.abc import Sequence
from typing import Any
from uuid import UUID

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from monitoring.models.walk import FindingState
from server.season_report.blocks import Block, Column, Section, Subhead, Table, Value, Words
from server.season_report.ground import Ground
from server.season_report.told import first_up, role, shown, whole_farm
from server.web.walks import seen_of, where_of


def section(ground: Ground) -> Section:
    blocks: list[Block] = [
        Words(
            _("A fly walk is a look for places where flies hatch: wet bedding, manure, spilled feed. What isn't listed "
              "was not looked at.")
        ),
    ]  # fmt: skip
    if not ground.walks:
        return Section("walks", _("Fly walks"), [*blocks, Words(_("No fly walk is noted for this time."))])
    blocks += [_walks(ground), Subhead(_("What was found")), *_found(ground), *_mended(ground)]
    return Section("walks", _("Fly walks"), blocks)


def _walks(ground: Ground) -> Table:
    columns = [
        Column(_("Day"), 1.15), Column(_("Where"), 1.4), Column(_("Led there by"), 1),
        Column(_("Places looked at"), 1.3, is_figure=True), Column(_("Nothing found"), 3), Column(_("Noted by"), 1.2),
    ]  # fmt: skip
    nothing: dict[UUID, list[Any]] = defaultdict(list)
    for row in ground.findings:
        if row.nothing:
            nothing[row.walk_id].append(row)
    rows: list[list[Value]] = [
        [
            walk.walked_on,
            ground.place(walk.facility_id, whole_farm()),
            walk.station.label if walk.station else "",
            walk.places,
            _without_find(ground, walk, nothing[walk.id]),
            first_up(role(walk.actor_kind)),
        ]
        for walk in ground.walks
    ]
    return Table(_("Walks"), columns, rows)


def _without_find(ground: Ground, walk: Any, rows: Sequence[Any]) -> str:
    """Gutters; under waterers: in the walk's own barn or lot, which stands beside it, else with theirs."""
    told = []
    for row in rows:
        words = ground.finding_words.get(row.id, {})
        own = row.facility_id == walk.facility_id
        place = words.get("place_words") or str(row.get_place_display())
        told.append(place if own else where_of(row, words))
    return first_up("; ".join(told))


def _found(ground: Ground) -> list[Block]:
    columns = [
        Column(_("Day"), 1.25), Column(_("Place"), 1.6), Column(_("What was found"), 1.9),
        Column(_("What to do, by when"), 1.9), Column(_("What became of it"), 2.5), Column(_("Noted by"), 1.25),
    ]  # fmt: skip
    rows = [_finding(ground, row) for row in ground.findings if not row.nothing]
    table = Table(_("Places found"), columns, rows, _("Nothing was found at any place that was looked at."))
    if not rows or ground.wanted.names:
        return [table]
    return [Words(_("What people wrote about them is left out; the farm keeps it."), "soft"), table]


def _finding(ground: Ground, row: Any) -> list[Value]:
    words = ground.finding_words.get(row.id, {})
    note = f"“{words['note']}”" if words.get("note") else ""
    corrected = _("(corrected later)") if row.replaces_id else ""
    due = _("by {day}").format(day=shown(row.due_on)) if row.due_on else ""
    return [
        row.seen_on,
        _where(ground, row),
        first_up(" ".join(filter(None, (seen_of(row), note, corrected)))),
        first_up(", ".join(filter(None, (words.get("to_do", ""), due)))),
        first_up("; ".join(_became(ground, row))),
        first_up(role(row.actor_kind)),
    ]


def _where(ground: Ground, row: Any) -> str:
    return where_of(row, ground.finding_words.get(row.id, {}))


def _became(ground: Ground, row: Any) -> list[str]:
    """Done, Jun 3, 2026 (farm staff), one each; then what is still to come."""
    told = []
    for step in ground.finding_steps.get(row.known, ()):
        if not step.replaced and step.kind != "withdrawn":
            note = ground.step_words.get(step.id, {}).get("note", "")
            words = f": “{note}”" if note else ""
            told.append(f"{step.get_kind_display()}, {shown(step.on)} ({role(step.actor_kind)}){words}")
    if row.state == FindingState.TO_CHECK and row.due:
        told.append(_("to be looked at again by {day}").format(day=shown(row.due)))
    return told or [_("nothing noted")]


def _mended(ground: Ground) -> list[Block]:
    """Openly, as corrected counts are."""
    if not ground.mended_findings:
        return []
    columns = [
        Column(_("Day"), 1.25), Column(_("Was"), 2.6), Column(_("Became"), 2.6), Column(_("When"), 1.3),
        Column(_("By"), 1),
    ]  # fmt: skip
    rows: list[list[Value]] = [
        [
            row.replaces.seen_on,
            _version(ground, row.replaces),
            first_up(_("noted by mistake")) if row.withdrawn else _version(ground, row),
            ground.on_the_clock(row.recorded_at),
            first_up(role(row.actor_kind)),
        ]
        for row in ground.mended_findings
    ]
    return [Subhead(_("Corrected later")), Table(_("Findings corrected"), columns, rows)]


def _version(ground: Ground, row: Any) -> str:
    """Under waterers, Calf barn: wet, some maggots."""
    seen = seen_of(row)
    return f"{_where(ground, row)}: {seen}" if seen else _where(ground, row)


def in_short(ground: Ground) -> str:
    """For the page for a layman: how many walks, how many places found, and how many of these are gone."""
    number = len(ground.walks)
    walks = ngettext("{number} fly walk is noted", "{number} fly walks are noted", number).format(number=number)
    found = [row for row in ground.findings if not row.nothing]
    if not found:
        return _("{walks}; nothing was found on them.").format(walks=walks)
    gone = sum(row.state == FindingState.GONE for row in found)
    places = ngettext("{number} place was found", "{number} places were found", len(found)).format(number=len(found))
    return _("{walks}; {places} where flies hatch or may, {gone} of them gone when looked at again.").format(
        walks=walks, places=places, gone=gone
    )  # fmt: skip
