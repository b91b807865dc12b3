"""The Monday list as its page shows it: which lines, in which order, with the way to the evidence of each reason."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from functools import cache
from typing import Any
from uuid import UUID

from django.urls import reverse

from alerts.selectors import MondayRow, by_verdict, in_parts
from alerts.selectors.monday import Verdict
from alerts.selectors.promised import Notes, Promised
from alerts.selectors.reasons import Proof, Reason
from server.web.folding import folded
from server.web.forms.monday import BY_DAYS, BY_LIST, BY_NAME, BY_OPEN, CALL, PROMISED, SILENT, UNTOLD, ListForm

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
    """One farm: each reason's words with the address of its evidence ("" where it has none), what was promised it by
    which day, the last note of a call. `verdict`: the heading it would stand under, where the list is sorted otherwise.
    """

    row: MondayRow
    reasons: tuple[tuple[str, str], ...]
    promised: tuple[Promised, ...] = ()
    note: Any = None
    step: Any = None
    verdict: str = ""


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
            tuple((str(reason), _address(farm_id, reason)) for reason in row.reasons),
            tuple(self.promised.get(farm_id, ())),
            self.notes.last.get(farm_id),
            self.notes.steps.get(farm_id),
            verdict,
        )


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


def _address(farm_id: UUID, reason: Reason) -> str:
    if reason.proof is None:
        return ""
    page, part = PAGES[reason.proof]
    about = reason.about if part.endswith("-") else ""
    address = _pattern(page).replace(str(NOBODY), str(farm_id), 1)
    return (address.replace(str(NOBODY), reason.about) if reason.proof == Proof.MATTER else address) + part + about


@cache
def _pattern(page: str) -> str:
    """A farm's page with a place for its id: the router takes longer to find an address than all else of a line."""
    more = {"alert_id": NOBODY} if page == "alert" else {}
    return reverse(page, kwargs={"farm_id": NOBODY} | more)
