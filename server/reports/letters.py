"""Letters as one PDF, a page each."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.http import HttpResponse
from django.utils.http import content_disposition_header
from django.utils.translation import gettext as _

from alerts.delivery.letter import Paragraph
from alerts.delivery.paper import PaperLetter, Version, shorter
from alerts.wording.numbers import day_phrase
from server.reports.typesetter import PAPERS, set_pdf


@dataclass(frozen=True)
class Sheets:
    """What the PDF is called, from whom it is, and on which paper it is set (a key of PAPERS)."""

    title: str
    author: str
    paper: str = "a4"


def letters_pdf(letters: Sequence[PaperLetter], sheets: Sheets) -> bytes:
    """A PDF of as many pages as there are letters."""
    pictures = {f"{number}.svg": each.drawing for number, each in enumerate(letters) if each.drawing}
    told = [_letter(each, f"{number}.svg" if each.drawing else "") for number, each in enumerate(letters)]
    given = {"title": sheets.title, "author": sheets.author, "paper": PAPERS[sheets.paper], "letters": told}
    return set_pdf("letters.typ", given, pictures)


def sheets_of(week: date, author: str, paper: str) -> Sheets:
    """What the letters of a week are called, in the active language."""
    return Sheets(_("Letters of the week of {day}").format(day=day_phrase(week)), author, paper)


def pdf_answer(letters: Sequence[PaperLetter], sheets: Sheets, week: date) -> HttpResponse:
    """The letters as a file to print."""
    response = HttpResponse(letters_pdf(letters, sheets), content_type="application/pdf")
    name = content_disposition_header(as_attachment=True, filename=f"letters-{week:%Y-%m-%d}.pdf")
    response.headers["Content-Disposition"] = str(name)
    return response


def _letter(paper: PaperLetter, picture: str) -> dict[str, Any]:
    versions = [_version(each, paper, picture) for each in shorter(paper.letter)]
    return {"lang": paper.language, "versions": versions}


def _version(version: Version, paper: PaperLetter, picture: str) -> dict[str, Any]:
    letter = version.letter
    return {
        "title": letter.title,
        "week": letter.week[:1].upper() + letter.week[1:],
        "counts": [paragraph_json(each) for each in letter.counts],
        "paragraphs": [paragraph_json(each) for each in letter.paragraphs],
        "picture": picture,
        "chart": version.chart if letter.picture and picture else 0,
        "words": letter.picture.words if letter.picture else "",
        "small": version.small,
        "shortened": paper.shortened if version.shortened else "",
        "small_print": list(letter.small_print),
    }


def paragraph_json(told: Paragraph) -> dict[str, Any]:
    sentences = [{"text": each.text, "strong": each.strong} for each in told.sentences]
    return {"level": told.level, "heading": told.heading, "sentences": sentences}
