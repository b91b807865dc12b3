"""Corrections openly: what a count was, what it became, why, when, and by which role."""

from typing import TYPE_CHECKING

from django.utils.translation import gettext as _

from server.season_report.blocks import Block, Column, Section, Table, Value, Words
from server.season_report.ground import Ground
from server.season_report.sections.counts import count_told
from server.season_report.told import first_up, role, shown
from server.web.choices import label_of

if TYPE_CHECKING:
    from monitoring.models import Reading


def section(ground: Ground) -> Section:
    columns = [
        Column(_("Place"), 1), Column(_("Was"), 2), Column(_("Became"), 2), Column(_("Why"), 1.4),
        Column(_("When"), 1.3), Column(_("By"), 1),
    ]  # fmt: skip
    changed = sorted(ground.corrected_by.values(), key=lambda row: (row.received_at, row.id))
    blocks: list[Block] = [
        Words(_("A correction is a later record that replaces an earlier one; both stay.")),
        Table(_("Corrections"), columns, [_row(ground, row) for row in changed], _("No count was corrected.")),
    ]
    return Section("corrections", _("Corrections"), blocks)


def _row(ground: Ground, row: "Reading") -> list[Value]:
    before = ground.by_id.get(row.corrects_id) if row.corrects_id else None
    return [
        row.station.label if before is None else before.station.label,
        "" if before is None else _told(before),
        _told(row, before),
        first_up(label_of("monitoring.Reading", "correction_kind", row.correction_kind)),
        ground.on_the_clock(row.received_at),
        first_up(role(row.round.actor_kind, row.round.source)),
    ]


def _told(row: "Reading", before: "Reading | None" = None) -> str:
    """118 (Jun 1 to Jun 8, 2026); with the station where that changed."""
    if row.count is None:
        what = str(label_of("monitoring.Reading", "reason", row.reason)) if row.reason else _("withdrawn")
    else:
        what = count_told(row)
        if row.animals:
            what = _("{flies} on {animals} animals").format(flies=what, animals=len(row.animals))
    days = shown(row.taken_on)
    if row.hung_on:
        days = _("{first} to {last}").format(first=shown(row.hung_on), last=days)
    moved = f"{row.station.label}: " if before is not None and before.station_id != row.station_id else ""
    return f"{moved}{what} ({days})"
