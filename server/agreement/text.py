"""From a file of texts/ to the sections that a farm reads.

A file is cut into its lines first and each is filled in after that, so that no farm's or group's name can make a
heading or a row of its own. A line beginning with ## is a heading, with | a row of the section's table (the first one
names its columns), with - a point; every other one is a paragraph. A text that a farm may have accepted is never
changed: tests/server/test_agreement_text.py holds the hash of each.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from functools import cache
from pathlib import Path
from typing import Any

from django.template import Context, Engine
from django.utils.translation import get_language

from farms.agreement import Agreement

TEXTS = Path(__file__).parent / "texts"
LANGUAGES = ("en", "es")
ENGINE = Engine()


@dataclass(frozen=True)
class Section:
    """A heading and what stands under it, in this order: paragraphs, a table, points, and paragraphs after them."""

    heading: str
    paragraphs: tuple[str, ...]
    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    points: tuple[str, ...]
    after: tuple[str, ...]

    @property
    def labelled(self) -> list[list[tuple[str, str]]]:
        """The table's rows, each cell with the name of its column."""
        return [list(zip(self.columns, row, strict=True)) for row in self.rows]


@dataclass(frozen=True)
class AgreementText:
    """One version of the agreement in one language, set for a farm."""

    version: str
    made_on: date
    language: str
    title: str
    sections: tuple[Section, ...]


@dataclass(frozen=True)
class Line:
    """One line of a file: its kind (the sign that it begins with; none of a paragraph) and its parts, a row's cells."""

    kind: str
    parts: tuple[str, ...]


def text_of(agreement: Agreement, language: str) -> AgreementText:
    """The agreement's text in a language (en or es)."""
    # Templates and the typesetter, which show the text, escape for themselves.
    facts = Context(_facts(agreement), autoescape=False)

    def filled(line: Line) -> Line:
        return Line(line.kind, tuple(ENGINE.from_string(part).render(facts).strip() for part in line.parts))

    title, *blocks = [[filled(line) for line in block] for block in _blocks(agreement.version, language)]
    sections = tuple(_section(block) for block in blocks)
    return AgreementText(agreement.version, agreement.made_on, language, title[0].parts[0], sections)


def language_here() -> str:
    """The language of whoever reads, where the agreement is there in it; else English."""
    found = get_language() or "en"
    return found if found in LANGUAGES else "en"


def _facts(agreement: Agreement) -> dict[str, Any]:
    farm, terms = agreement.farm, agreement.terms
    return {
        "farm": farm.name,
        "group": farm.group.name,
        "licence": terms.licence,
        "sells": terms.sells_products,
        "contact": terms.contact,
        "advisers": [{"name": str(each.adviser), "sells": each.sells_products} for each in agreement.advisers],
    }


@cache
def _blocks(version: str, language: str) -> list[list[Line]]:
    """The lines of the title, and of each section with its heading first."""
    blocks: list[list[Line]] = []
    for text in (TEXTS / f"{version}.{language}.txt").read_text("utf-8").splitlines():
        line = _line(text) if text else None
        if line is not None and line.kind == "#":
            blocks.append([line])
        elif line is not None:
            blocks[-1].append(line)
    return blocks


def _line(text: str) -> Line:
    kind = text[0] if text[0] in "#|-" else ""
    rest = text.lstrip(kind).strip() if kind else text
    return Line(kind, tuple(cell.strip() for cell in rest.split("|")) if kind == "|" else (rest,))


def _section(lines: Sequence[Line]) -> Section:
    heading, *under = lines
    first = next((place for place, line in enumerate(under) if line.kind), len(under))
    rows = [line.parts for line in under if line.kind == "|"]
    return Section(
        heading=heading.parts[0],
        paragraphs=tuple(line.parts[0] for line in under[:first]),
        columns=rows[0] if rows else (),
        rows=tuple(rows[1:]),
        points=tuple(line.parts[0] for line in under if line.kind == "-"),
        after=tuple(line.parts[0] for line in under[first:] if not line.kind),
    )
