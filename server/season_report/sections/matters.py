"""Alerts and answers: what the weekly check opened, what somebody did about it, and how it ended."""

from typing import TYPE_CHECKING

from django.utils.translation import gettext as _

from alerts.models.alert import BY_SOMEBODY, EventKind
from server.season_report.blocks import Block, Column, Section, Table, Value, Words
from server.season_report.ground import Ground
from server.season_report.told import first_up, role, shown
from server.web.choices import label_of
from server.web.words import WHAT_WAS_DONE, alert_title, evidence_in_words

if TYPE_CHECKING:
    from alerts.models import Alert, AlertEvent


def section(ground: Ground) -> Section:
    columns = [
        Column(_("What"), 1.6), Column(_("Opened with the week of"), 1.1), Column(_("Because"), 2.5),
        Column(_("What was done about it"), 2.4), Column(_("Ended"), 1.6),
    ]  # fmt: skip
    blocks: list[Block] = [
        Words(_("Opened and ended by the weekly check, by fixed rules. “Seen” and what follows was done by people.")),
        Table(_("Alerts"), columns, [_row(ground, each) for each in ground.alerts], _("None was open in this time.")),
    ]
    return Section("matters", _("Alerts and answers"), blocks)


def _row(ground: Ground, alert: "Alert") -> list[Value]:
    events = ground.histories.get(alert.id, [])
    opened = [each for each in events if each.kind in (EventKind.OPENED, EventKind.REOPENED)]
    weeks = [shown(alert.opened_week)] + [shown(each.week) for each in opened[1:]]
    return [
        alert_title(alert),
        ", ".join(dict.fromkeys(weeks)),
        first_up(evidence_in_words(opened[0])) if opened else "",
        first_up("; ".join(_answers(ground, events)) or _("nothing noted")),
        first_up(_ended(alert)),
    ]


def _answers(ground: Ground, events: "list[AlertEvent]") -> list[str]:
    """Seen on Jun 3, 2026 (farm staff): one each; what was written only where an owner wants it."""
    told = []
    for event in events:
        if event.kind not in (*BY_SOMEBODY, EventKind.ESCALATED):
            continue
        what = str(WHAT_WAS_DONE[event.kind])
        day = shown(ground.on_the_clock(event.at).date())
        words = f": “{ground.notes[event.id]}”" if event.id in ground.notes else ""
        told.append(f"{what}, {day} ({role(event.actor_kind)}){words}")
    return told


def _ended(alert: "Alert") -> str:
    if alert.closed_week is None:
        return _("still open")
    why = label_of("alerts.Alert", "closed_because", alert.closed_because)
    return _("week of {day}: {why}").format(day=shown(alert.closed_week), why=why)
