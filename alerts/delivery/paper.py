"""The week's digest on paper, for farms that get no mail: the mail's own sentences, in the farm's language.

One page a farm. What doesn't fit is shortened by `shorter`, always in the same order; the cautions never are.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import TYPE_CHECKING
from uuid import UUID

from django.utils.translation import gettext as _
from django.utils.translation import override

from alerts.delivery.chart import drawing_of
from alerts.delivery.digest import Since, letter_of, with_effects
from alerts.delivery.letter import Letter, Paragraph
from alerts.selectors.corrections import Correction, corrections_since
from alerts.selectors.farm_weeks import FarmWeek, weeks_of_farms
from alerts.selectors.told import farms_without_mail
from farms.selectors import advised_farms

if TYPE_CHECKING:
    from farms.models import Farm, User

WEEKS_SEEN = timedelta(weeks=2)


@dataclass(frozen=True)
class PaperLetter:
    """A farm's letter, and the language in which it is written."""

    letter: Letter
    language: str
    drawing: str  # the chart as SVG, wide; empty where nothing was counted
    shortened: str  # what is said where it was shortened


@dataclass(frozen=True)
class Version:
    """One of the shorter and shorter versions of a letter: how wide its chart is (0 to 1), and how it is set."""

    letter: Letter
    chart: float = 1.0
    small: bool = False
    shortened: bool = True


def letters_of_adviser(user: "User", week: date, today: date, *, group_id: UUID | None = None) -> list[PaperLetter]:
    """All of an adviser's letters for a week: their farms (of one group) that get no mail, told already or not."""
    farms = [farm for farm in advised_farms(user) if group_id in (None, farm.group_id)]
    silent = farms_without_mail([farm.id for farm in farms], week)
    return paper_letters([farm for farm in farms if farm.id in silent], week, today, user)


def paper_letters(farms: Sequence["Farm"], week: date, today: date, adviser: "User") -> list[PaperLetter]:
    """The letters of these farms for a week, by the farm's name; of an older week as it stood when the next was over.

    A farm without a result has none. The caller has come through `farms.access`.
    """
    day = min(today, week + WEEKS_SEEN)
    corrected: dict[UUID, list[Correction]] = {}
    for group_id in {farm.group_id for farm in farms}:
        of_group = [farm.id for farm in farms if farm.group_id == group_id]
        corrected |= corrections_since(group_id, of_group, week)
    written = []
    for told in with_effects(weeks_of_farms(farms, week, day)):
        if told.farm_rows:
            with override(told.farm.language):
                written.append(_on_paper(told, corrected.get(told.farm.id, []), adviser))
    return sorted(written, key=lambda each: each.letter.title)


def shorter(letter: Letter) -> Iterator[Version]:
    """A letter and its shorter and shorter versions: first the chart gives way, then sentences, then the type's size.

    Of each paragraph its first sentences stay, and what is printed strong: that a level is passed.
    """
    yield Version(letter, shortened=False)
    yield Version(letter, chart=0.7, shortened=False)
    for most in (4, 3):
        yield Version(_cut(letter, most), chart=0.7)
    without = replace(letter, picture=None)
    for most in (3, 2, 1):
        yield Version(_cut(without, most))
    yield Version(_cut(without, 1), small=True)


def _cut(letter: Letter, most: int) -> Letter:
    return replace(
        letter,
        counts=tuple(_first(each, most) for each in letter.counts),
        paragraphs=tuple(_first(each, most) for each in letter.paragraphs),
    )


def _first(told: Paragraph, most: int) -> Paragraph:
    kept = tuple(each for number, each in enumerate(told.sentences) if number < most or each.strong)
    return replace(told, sentences=kept)


def _on_paper(told: FarmWeek, corrected: Sequence[Correction], adviser: "User") -> PaperLetter:
    """The mail's letter; in place of why a mail came stands from whom the letter is."""
    letter, drawn = letter_of(told, Since(corrected=corrected)), drawing_of(told, "wide")
    cautions = letter.small_print[:-1]
    sender = _("Written for {farm} by its adviser, {adviser}, {group}.").format(
        farm=told.farm.name, adviser=adviser, group=told.farm.group.name
    )
    return PaperLetter(
        letter=replace(letter, small_print=(*cautions, sender)),
        language=told.farm.language,
        drawing=drawn[0] if drawn else "",
        shortened=_("Shortened to fit on one page; your adviser has the rest."),
    )
