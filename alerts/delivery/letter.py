"""A mail as it is thought of: paragraphs of sentences, in one wording for the plain text and the HTML."""

import textwrap
from collections.abc import Iterable
from dataclasses import dataclass

from django.template.loader import render_to_string
from django.utils.translation import get_language
from django.utils.translation import gettext as _

from alerts.delivery.choice_address import choice_page
from alerts.delivery.parts import CHART_ID
from monitoring.charts import DARK, LIGHT

TEXT_WIDTH = 76
MARKS = {"below": "○", "near": "◒", "over": "●", "none": "-"}


@dataclass(frozen=True)
class Sentence:
    text: str
    strong: bool = False


@dataclass(frozen=True)
class Paragraph:
    """Some sentences, with a heading set before them and a level's word for the mark beside it (empty for none)."""

    sentences: tuple[Sentence, ...]
    heading: str = ""
    level: str = ""

    @property
    def mark(self) -> str:
        return MARKS.get(self.level, "")


@dataclass(frozen=True)
class Picture:
    """A chart as PNG, and in words what it shows."""

    png: bytes
    words: str


@dataclass(frozen=True)
class Letter:
    """A farm's digest in its reader's language."""

    subject: str
    title: str
    week: str
    counts: tuple[Paragraph, ...]
    paragraphs: tuple[Paragraph, ...]
    picture: Picture | None
    link: str
    small_print: tuple[str, ...]

    def as_text(self) -> str:
        return as_text(
            [
                f"{self.title}: {self.week}",
                *(_in_line(paragraph) for paragraph in (*self.counts, *self.paragraphs)),
                self.link,
                *self.small_print,
            ]
        )

    def as_html(self) -> str:
        return render("alerts/digest.html", letter=self)


def paragraph(*sentences: str | Sentence, heading: str = "", level: str = "") -> Paragraph:
    """A paragraph of the sentences that aren't empty."""
    made = tuple(Sentence(each) if isinstance(each, str) else each for each in sentences)
    return Paragraph(tuple(each for each in made if each.text), heading, level)


def strong(text: str) -> Sentence:
    return Sentence(text, strong=True)


def as_text(blocks: Iterable[str]) -> str:
    """Plain text, wrapped where mail programs don't; a link stays in one piece. How to stop the mail ends it."""
    told = [*blocks, f"{how_often_words()}: {choice_page()}"]
    wrapped = (textwrap.fill(block, TEXT_WIDTH, break_long_words=False, break_on_hyphens=False) for block in told)
    return "\n\n".join(wrapped) + "\n"


def how_often_words() -> str:
    """What stands on the link at the end of every mail."""
    return _("Fewer of these mails, or none")


def render(template: str, **context: object) -> str:
    shared = {"language": get_language(), "palette": LIGHT, "dark": DARK, "chart_id": CHART_ID}
    shared |= {"choice_link": choice_page(), "how_often_words": how_often_words()}
    return render_to_string(template, shared | context)


def _in_line(told: Paragraph) -> str:
    sentences = " ".join(sentence.text for sentence in told.sentences)
    return f"{told.heading}: {sentences}" if told.heading else sentences
