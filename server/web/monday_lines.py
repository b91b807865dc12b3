"""The Monday list as its page shows it: which lines, in which order, with the way to the evidence of each reason."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from functools import cache
from typing import Any
from uuid import UUID

from django.template.loader import render_to_string
from django.urls import reverse
from django.utils.html import escape
from django.utils.safestring import SafeString, mark_safe

from alerts.selectors import MondayRow, by_verdict, in_parts
from alerts.selectors.monday import Verdict
from alerts.selectors.promised import Notes, Promised
from alerts.selectors.reasons import Proof, Reason
from server.web.folding import folded
from server.web.forms.monday import BY_DAYS, BY_LIST, BY_NAME, BY_OPEN, CALL, PROMISED, SILENT, UNTOLD, ListForm
from server.web.kept_in_words import kept_in_words

NOBODY = UUID(int=0)
# The page, and the part of it.
PAGES = {
    Proof.MATTER: ("alert", ""),
    Proof.SEASON: ("farm", "#season-"),
    Proof.BUILDINGS: ("farm", "#buildings"),
    Proof.ROUNDS: ("rounds", ""),
    Proof.WORK: ("farm", "#done"),
    Proof.MAILS: ("sent_digests", ""),
    Proof.VISITS: ("visits", ""),
}


@dataclass(frozen=True)
class Line:
    """One farm with its reasons; what was promised it by which day, the last note of a call. `verdict`: its heading,
    where the list is sorted otherwise.
    """

    row: MondayRow
    promised: tuple[Promised, ...] = ()
    note: Any = None
    step: Any = None
    verdict: str = ""

    @property
    def address(self) -> str:
        """Its own page."""
        return _address_of("farm", self.row.farm.id)

    @property
    def notes(self) -> str:
        """The page of its notes."""
        return _address_of("call_notes", self.row.farm.id)

    @property
    def reasons(self) -> SafeString:
        """Each with a link to its evidence."""
        linked = (_linked(self.row.farm.id, reason) for reason in self.row.reasons)
        return mark_safe(" · ".join(linked))  # noqa: S308 - escaped in there

    @property
    def has_a_form(self) -> bool:
        """Whether something can be sent from the line itself."""
        return self.step is not None or (self.row.judged and not self.row.gets_mail)

    @property
    def content(self) -> "Content":
        """Everything that a line without a form is written from."""
        row, note = self.row, self.note
        noted = (note.noted_on, str(note.by), note.text) if note else None
        name, last = row.farm.name, row.last_round if row.has_not_sent else None
        told = (row.farm.id, name, row.numbers, row.level_word, row.weeks, row.has_not_sent, last)
        reasons = tuple((reason, reason.proof, reason.about) for reason in row.reasons)
        return told, reasons, self.promised, noted, self.verdict


Content = tuple[Any, ...]


@dataclass(frozen=True)
class Listed:
    """All of an adviser's farms of a week, with what the page needs to know of them beside their rows."""

    rows: Sequence[MondayRow]
    today: date
    promised: Mapping[UUID, Sequence[Promised]] = field(default_factory=dict)
    notes: Notes = field(default_factory=lambda: Notes({}, {}))

    def is_due(self, row: MondayRow) -> bool:
        """Whether something was promised for today or before."""
        return any(each.day <= self.today for each in self.promised.get(row.farm.id, ()))

    def line(self, row: MondayRow, verdict: str = "") -> Line:
        farm_id = row.farm.id
        return Line(
            row,
            tuple(self.promised.get(farm_id, ())),
            self.notes.last.get(farm_id),
            self.notes.steps.get(farm_id),
            verdict,
        )


def written(line: Line, shared: Mapping[str, Any]) -> SafeString:
    """The line in HTML. `shared`: what all lines are written from, such as today.

    The same content gives the same line, so one without a form is written once and kept: a template takes longer for
    300 lines than all else that the page does. One with a form has the request's own token in it.
    """

    def made() -> SafeString:
        return mark_safe(render_to_string(LINE, {**shared, "line": line, "row": line.row}))  # noqa: S308 - a template's

    if line.has_a_form:
        return made()
    return kept_in_words(("monday line", line.content, *(shared[name] for name in KNOWN_BY)), made)


LINE = "web/includes/monday_line.html"
KNOWN_BY = ("today", "week", "query")


def regions_in(rows: Sequence[MondayRow]) -> list[tuple[str, str]]:
    """The regions of these farms, by name: id and name."""
    names = {str(row.farm.region_id): row.farm.region.name for row in rows}
    return sorted(names.items(), key=lambda each: folded(each[1]))


def sections(listed: Listed, form: ListForm) -> list[tuple[str, str, list[Line]]]:
    """What is asked for: in the list's own parts, or as one part in another order."""
    rows = [row for row in listed.rows if _is_asked(row, listed, form)]
    order = form.asked("sort")
    if order == BY_LIST:
        return [(part, heading, [listed.line(row) for row in some]) for part, heading, some in in_parts(rows)]
    headings = {row.farm.id: heading for _verdict, heading, some in by_verdict(rows) for row in some}
    ordered = sorted(rows, key=ORDERS[order])
    heading = dict(form.fields["sort"].choices)[order]  # type: ignore[attr-defined]
    return [("sorted", str(heading), [listed.line(row, headings[row.farm.id]) for row in ordered])] if rows else []


def _is_asked(row: MondayRow, listed: Listed, form: ListForm) -> bool:
    region, words = form.asked("region"), folded(form.asked("q")).split()
    if region and str(row.farm.region_id) != region:
        return False
    if not all(word in folded(row.farm.name) for word in words):
        return False
    wanted = WANTED.get(form.asked("show"))
    return wanted is None or wanted(row, listed)


WANTED: Mapping[str, Callable[[MondayRow, Listed], bool]] = {
    CALL: lambda row, _listed: row.verdict == Verdict.CALL,
    SILENT: lambda row, _listed: row.has_not_sent,
    PROMISED: lambda row, listed: listed.is_due(row),
    UNTOLD: lambda row, _listed: row.untold,
}
ORDERS: Mapping[str, Callable[[MondayRow], Any]] = {
    BY_NAME: lambda row: folded(row.farm.name),
    BY_DAYS: lambda row: (-(row.days if row.days is not None else -1), folded(row.farm.name)),
    BY_OPEN: lambda row: (row.open_since or date.max, folded(row.farm.name)),
}


def _linked(farm_id: UUID, reason: Reason) -> str:
    """A reason in HTML, as a link where it has evidence. Written here: a template takes ten times as long for 300."""
    if reason.proof is None:
        return escape(reason)
    page, part = PAGES[reason.proof]
    address = _address_of(page, farm_id) + part
    if reason.proof == Proof.MATTER:
        address = address.replace(str(NOBODY), reason.about)
    elif reason.proof == Proof.SEASON:
        address += reason.about
    return f'<a class="why" href="{escape(address)}">{escape(reason)}</a>'


def _address_of(page: str, farm_id: UUID) -> str:
    return _pattern(page).replace(str(NOBODY), str(farm_id), 1)


@cache
def _pattern(page: str) -> str:
    """A farm's page with a place for its id: the router takes longer to find an address than all else of a line."""
    more = {"alert_id": NOBODY} if page == "alert" else {}
    return reverse(page, kwargs={"farm_id": NOBODY} | more)
