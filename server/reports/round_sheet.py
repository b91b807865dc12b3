"""The round's sheet to write on: the lines and columns of the grid in which it is typed in (web/paper.html)."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Any

from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import override, pgettext

from monitoring.selectors import SheetPlace
from server.reports.cards import printable
from server.reports.sheets import PAPER_SIZES
from server.reports.typesetter import PAPERS, set_pdf

# As many animals as a leg count asks for at most.
ANIMALS = 15
PARTS = ["1", "1/2", "1/4", "1/8"]


@dataclass(frozen=True)
class Sheet:
    """On which paper (a key of PAPER_SIZES), and in which language."""

    paper: str
    language: str


def round_sheet_pdf(farm: Any, places: Sequence[SheetPlace], sheet: Sheet, reasons: Sequence[Any]) -> bytes:
    """A PDF of the farm's stations in walking order, for a pencil; `reasons` are why there may be no count."""
    with override(sheet.language):
        given = {
            "title": _("Round sheet of {farm}").format(farm=printable(farm.name)),
            "author": farm.group.name,
            "lang": sheet.language,
            "paper": PAPERS[sheet.paper],
            "width": PAPER_SIZES[sheet.paper][0],
            "farm": printable(farm.name),
            "heading": _("Round sheet"),
            "buildings": _buildings(places),
            "animals": ANIMALS,
            "reasons": " · ".join(map(str, reasons)),
            **_words(),
        }
    return set_pdf("round_sheet.typ", given, standard="ua-1")


def _buildings(places: Sequence[SheetPlace]) -> list[dict[str, Any]]:
    by_building = groupby(places, key=lambda place: place.station.facility)
    return [
        {"name": printable(facility.name), "lines": [line for place in found for line in _lines(place)]}
        for facility, found in by_building
    ]


def _lines(place: SheetPlace) -> list[dict[str, Any]]:
    """One for each card or trap that hangs there; one to hang it where nothing does, and one for a leg count."""
    since = [_since(hanging.placement.hung_on) for hanging in place.hangings] or [""]
    method = place.station.method
    told = {"label": place.station.label, "legs": method == "leg", "cups": method == "trap"}
    return [{**told, "since": day} for day in since]


def _since(day: Any) -> str:
    return _("since {day}").format(day=date_format(day, pgettext("a day in few letters", "M j")))


def _words() -> dict[str, Any]:
    return {
        "head": [
            _("Which"), _("Up"), _("Count"), _("Or why not"), _("Part counted"), _("At least"), _("Fresh one hung"),
        ],
        "parts": PARTS,
        "written": [_("Counted by"), _("Counted on")],
        "cups": _("cups"),
        "notes": _("Anything worth knowing"),
        "why_not": _("Or why not"),
        "legs": _("Flies on all four legs, one box an animal; 0 where there is none."),
        "rules": [
            _("A row left empty is a gap, not a zero. Write 0 only where you counted and found none."),
            _("At least: tick it where there were too many to count, and write the number you are sure of."),
        ],
        "cautions": [
            _("Count legs from the feed lane or with the animals in headlocks, never alone in a pen with a bull."),
            _("Reach cards and traps from the ground or with a pole, clear of fans, belts and wires."),
            _("Traps may hold insecticide bait: wear gloves; the label and local rules come first."),
            _("Stay out where something was sprayed until the label's time is over."),
        ],
        "page": _("page"),
    }  # fmt: skip
