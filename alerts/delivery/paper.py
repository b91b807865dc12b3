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
from alerts.delivery.missed_sentences import weeks_last_told
from alerts.selectors.corrections import Correction, corrections_since
from alerts.selectors.farm_weeks import FarmWeek, weeks_of_farms
from alerts.selectors.told import farms_without_mail
from farms.access import ADVISER, role_on
from farms.clock import local_date
from farms.offers import standing_offers
from farms.selectors import advised_farms
from farms.showing import chosen, showing

if TYPE_CHECKING:
    from farms.models import AdviserOffer, Farm, User

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


def letter_of_farm(farm: "Farm", week: date, today: date, user: "User") -> list[PaperLetter]:
    """One farm's letter, whether it gets mail or not; from its adviser where that is who asks for it."""
    return paper_letters([farm], week, today, user if role_on(user, farm.id) is ADVISER else None)


def letters_of_adviser(user: "User", week: date, today: date, *, group_id: UUID | None = None) -> list[PaperLetter]:
    """All of an adviser's letters for a week: their farms (of one group) that get no mail, told already or not."""
    farms = [farm for farm in advised_farms(user) if group_id in (None, farm.group_id)]
    silent = farms_without_mail([farm.id for farm in farms], week)
    return paper_letters([farm for farm in farms if farm.id in silent], week, today, user)


def paper_letters(farms: Sequence["Farm"], week: date, today: date, adviser: "User | None") -> list[PaperLetter]:
    """The letters of these farms for a week, by the farm's name; of an older week as it stood when the next was over.

    A farm without a result has none. Without an adviser they are from the group. The caller has come through
    `farms.access`.
    """
    day = min(today, week + WEEKS_SEEN)
    since = _since(farms, week, day)
    written = []
    for told in with_effects(weeks_of_farms(farms, week, day)):
        if told.farm_rows:
            with override(told.farm.language), showing(chosen("", "", told.farm.time_zone)):
                written.append(_on_paper(told, since[told.farm.id], adviser))
    return sorted(written, key=lambda each: each.letter.title)


def _since(farms: Sequence["Farm"], week: date, day: date) -> dict[UUID, Since]:
    """What each farm's letter tells beside its week."""
    farm_ids = [farm.id for farm in farms]
    corrected: dict[UUID, list[Correction]] = {}
    for group_id in {farm.group_id for farm in farms}:
        of_group = [farm.id for farm in farms if farm.group_id == group_id]
        corrected |= corrections_since(group_id, of_group, week)
    last_told, offers = weeks_last_told(farm_ids, week), _offers(farms, day)
    return {own: Since(last_told.get(own), corrected.get(own, ()), offers.get(own, ())) for own in farm_ids}


def _offers(farms: Sequence["Farm"], day: date) -> dict[UUID, list["AdviserOffer"]]:
    """Who would follow an adviser who left, as of a day: on paper as long as it waits for the farm's word."""
    zones = {farm.id: farm.time_zone for farm in farms}
    found: dict[UUID, list[AdviserOffer]] = {}
    for offer in standing_offers(list(zones)):
        if local_date(offer.offered_at, zones[offer.farm_id]) <= day:
            found.setdefault(offer.farm_id, []).append(offer)
    return found


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


def _on_paper(told: FarmWeek, since: Since, adviser: "User | None") -> PaperLetter:
    """The mail's letter; in place of why a mail came stands from whom the letter is."""
    letter, drawn = letter_of(told, since), drawing_of(told, "wide")
    cautions = letter.small_print[:-1]
    return PaperLetter(
        letter=replace(letter, small_print=(*cautions, _sender(told.farm, adviser))),
        language=told.farm.language,
        drawing=drawn[0] if drawn else "",
        shortened=_("Shortened to fit on one page; your adviser has the rest.")
        if adviser
        else _("Shortened to fit on one page; the farm's page has the rest."),
    )


def _sender(farm: "Farm", adviser: "User | None") -> str:
    if adviser is None:
        return _("Written for {farm}, {group}.").format(farm=farm.name, group=farm.group.name)
    words = _("Written for {farm} by its adviser, {adviser}, {group}.")
    return words.format(farm=farm.name, adviser=adviser, group=farm.group.name)
