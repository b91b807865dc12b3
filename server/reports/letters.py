"""Letters as one PDF, a page each."""

import json
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from functools import cache
from pathlib import Path
from typing import Any

import typst
from django.http import HttpResponse
from django.utils.http import content_disposition_header
from django.utils.translation import gettext as _

from alerts.delivery.letter import Paragraph
from alerts.delivery.paper import PaperLetter, Version, shorter
from alerts.wording.numbers import day_phrase
from monitoring.charts import LIGHT

HERE = Path(__file__).parent
TEMPLATE = HERE / "letters.typ"
FONTS = (HERE / "fonts", HERE.parents[1] / "monitoring" / "charts" / "fonts")
PAPERS = {"a4": "a4", "letter": "us-letter"}


@dataclass(frozen=True)
class Sheets:
    """What the PDF is called, from whom it is, and on which paper it is set (a key of PAPERS)."""

    title: str
    author: str
    paper: str = "a4"


def letters_pdf(letters: Sequence[PaperLetter], sheets: Sheets) -> bytes:
    """A PDF of as many pages as there are letters."""
    with tempfile.TemporaryDirectory(prefix="flyround-letters-") as folder:
        told = [_letter(each, number, Path(folder)) for number, each in enumerate(letters)]
        given = {"title": sheets.title, "author": sheets.author, "paper": PAPERS[sheets.paper], "letters": told}
        Path(folder, "letters.json").write_text(json.dumps(given | {"palette": vars(LIGHT)}), "utf-8")
        made = typst.compile(TEMPLATE.read_bytes(), root=folder, font_paths=_fonts(), ignore_system_fonts=True)
    if not isinstance(made, bytes):
        raise TypeError("The typesetter gave no PDF.")
    return made


def sheets_of(week: date, author: str, paper: str) -> Sheets:
    """What the letters of a week are called, in the active language."""
    return Sheets(_("Letters of the week of {day}").format(day=day_phrase(week)), author, paper)


def pdf_answer(letters: Sequence[PaperLetter], sheets: Sheets, week: date) -> HttpResponse:
    """The letters as a file to print."""
    response = HttpResponse(letters_pdf(letters, sheets), content_type="application/pdf")
    name = content_disposition_header(as_attachment=True, filename=f"letters-{week:%Y-%m-%d}.pdf")
    response.headers["Content-Disposition"] = str(name)
    return response


def usual_paper(time_zone: str) -> str:
    """The paper that is usual where a group works: Letter in the Americas, A4 elsewhere; common practice, no source."""
    return "letter" if time_zone.startswith(("America/", "US/", "Canada/")) else "a4"


@cache
def _fonts() -> Any:
    """Ours only, read once: what a machine has installed changes no letter."""
    return typst.Fonts(include_system_fonts=False, include_embedded_fonts=True, font_paths=[*map(str, FONTS)])


def _letter(paper: PaperLetter, number: int, folder: Path) -> dict[str, Any]:
    name = f"{number}.svg" if paper.drawing else ""
    if name:
        (folder / name).write_text(paper.drawing, "utf-8")
    versions = [_version(each, paper, name) for each in shorter(paper.letter)]
    return {"lang": paper.language, "versions": versions}


def _version(version: Version, paper: PaperLetter, picture: str) -> dict[str, Any]:
    letter = version.letter
    return {
        "title": letter.title,
        "week": letter.week[:1].upper() + letter.week[1:],
        "counts": [_paragraph(each) for each in letter.counts],
        "paragraphs": [_paragraph(each) for each in letter.paragraphs],
        "picture": picture,
        "chart": version.chart if letter.picture and picture else 0,
        "words": letter.picture.words if letter.picture else "",
        "small": version.small,
        "shortened": paper.shortened if version.shortened else "",
        "small_print": list(letter.small_print),
    }


def _paragraph(told: Paragraph) -> dict[str, Any]:
    sentences = [{"text": each.text, "strong": each.strong} for each in told.sentences]
    return {"level": told.level, "heading": told.heading, "sentences": sentences}
