"""Cards to print: backs for index cards, lasting tags with a QR code, labels for traps. One file, all of one kind."""

import re
import unicodedata
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import override

from server.reports.sheets import SIZES, Layout, many, single
from server.reports.tag_codes import tag_code
from server.reports.typesetter import set_pdf

BACKS, TAGS, LABELS = "backs", "tags", "labels"
# Longer ones may break anywhere, or they would run out of the card.
LONGEST_WORD = 16
BREAK = "\N{ZERO WIDTH SPACE}"
# Symbols such as emoji, and marks for joining them: the fonts have none, and a card needs none.
VARIANT = "\N{VARIATION SELECTOR-16}"
UNPRINTED = {"So", "Sk", "Cs", "Co", "Cn", "Cc", "Cf"}


@dataclass(frozen=True)
class Cards:
    """What is printed: the kind, on cards of a size (a key of SIZES), `paper` a key of PAPER_SIZES or "single"."""

    kind: str
    size: str
    paper: str
    language: str
    copies: int = 1


def cards_pdf(farm: Any, stations: Sequence[Any], cards: Cards, address: Callable[[Any], str]) -> bytes:
    """A PDF of these stations' cards, in their order; `address` says where a station's tag leads."""
    size = SIZES[cards.size]
    layout = single(size) if cards.paper == "single" else many(size, cards.paper)
    with override(cards.language):
        given = {
            "kind": cards.kind,
            "title": _title(cards.kind, farm),
            "author": farm.group.name,
            "lang": cards.language,
            "farm": printable(farm.name),
            "card": vars(size),
            "page": vars(layout),
            "single": cards.paper == "single",
            "note": _note(cards.kind, layout),
            "words": _words(cards.kind),
            "buildings": sorted({printable(station.facility.name) for station in stations}),
            # As wide as they get: what differs in its digits only is measured once.
            "labels": sorted({re.sub(r"\d", "0", station.label) for station in stations}),
            "items": [each for each in map(_item, stations) for _copy in range(cards.copies)],
        }
    pictures = {f"{each.id}.svg": tag_code(address(each)) for each in stations} if cards.kind == TAGS else {}
    return set_pdf("cards.typ", given, pictures, standard="ua-1")


def printable(name: str) -> str:
    """A name as it is set: without emoji, and with places where an endless word may break."""
    plain = "".join(filter(_is_printed, unicodedata.normalize("NFC", name)))
    spaced = " ".join(plain.split())
    return re.sub(rf"\S{{{LONGEST_WORD},}}", lambda word: BREAK.join(word[0]), spaced)


def _is_printed(letter: str) -> bool:
    return letter.isascii() or (unicodedata.category(letter) not in UNPRINTED and letter != VARIANT)


def _item(station: Any) -> dict[str, str]:
    return {
        "label": station.label,
        "building": printable(station.facility.name),
        "code": f"{station.id}.svg",
        "alt": _("QR code that opens {station}").format(station=station.label),
    }


def _title(kind: str, farm: Any) -> str:
    titles = {BACKS: _("Backs of cards"), TAGS: _("Tags with QR codes"), LABELS: _("Labels for traps")}
    return f"{titles[kind]} · {farm.name}"


def _note(kind: str, layout: Layout) -> str:
    """What stands in the margin of a sheet of many."""
    how = _("Print at actual size, not fitted to the page. Cut along the marks.")
    if kind == BACKS:
        how += " " + _("Print this side only: the other face is counted and stays plain white.")
    return how if layout.left else ""


def _words(kind: str) -> dict[str, Any]:
    if kind == BACKS:
        return {
            "lines": [_("Hung on"), _("Taken down"), _("Counted by")],
            "foot": _("This is the back. The other face is counted: it stays plain white."),
        }
    if kind == TAGS:
        return {"foot": _("Point the phone's camera here to count.")}
    return {
        "lines": [_("Hung on")],
        "caution": _("Caution: insecticide bait inside"),
        "keep": _("Keep away from children, animals, feed and milk. Wear gloves."),
        "first": _("The label on the bait and local rules come first."),
    }
