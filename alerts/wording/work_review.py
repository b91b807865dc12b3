"""A season's works, kind by kind, in words: how often, how many could be told, and what they did together."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING
from uuid import UUID

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from alerts.wording.counts_needed import needed_sentence
from alerts.wording.numbers import day_phrase
from alerts.wording.places import facility_phrase
from alerts.wording.results import heading
from alerts.wording.works import how_told, percent_phrase, share_phrase, share_range, since_then

if TYPE_CHECKING:
    from farms.models import Facility
    from monitoring.selectors.deeds import Deed
    from monitoring.selectors.work_review import DeedReviewed, KindReview, WorkReview


@dataclass(frozen=True)
class DeedInWords:
    """When and where, what followed, from which counts, and what would tell more; the last two may be empty."""

    when: str
    where: str
    since: str
    told_from: str
    needed: str


@dataclass(frozen=True)
class KindInWords:
    """A kind of work: its name, how often, what all of it did, from which counts, and each."""

    name: str
    often: str
    together: str
    told_from: str
    deeds: tuple[DeedInWords, ...]


def review_in_words(review: "WorkReview", facilities: Mapping[UUID, "Facility"]) -> tuple[KindInWords, ...]:
    """The review as sentences, for a page, a mail or paper, in the language that is active."""
    return tuple(
        KindInWords(
            name=str(kind.label)[:1].upper() + str(kind.label)[1:],
            often=_often(kind),
            together=together_sentence(kind),
            told_from=_told_from(kind),
            deeds=tuple(_deed(each, facilities) for each in kind.deeds),
        )
        for kind in review.kinds
    )


def together_sentence(kind: "KindReview") -> str:
    """Together about half as many as elsewhere (a third to three quarters); or why there is no figure of all."""
    if kind.ratio is None or kind.low is None or kind.high is None:
        return (
            _("Can't tell what it did: none could be told by itself.")
            if not kind.told
            else _("Only one could be told, and one is no figure for all of them.")
            if kind.told == 1
            else _("They were told from different counts, which do not add up to one figure.")
        )
    between = share_range(kind.low, kind.high)
    if kind.low <= 1 <= kind.high:
        return _("Together no clear difference from what was to be expected ({between}).").format(between=between)
    words = _("Together {share} was to be expected ({between}).")
    return words.format(share=share_phrase(kind.ratio), between=between)


def _often(kind: "KindReview") -> str:
    """3 times, 2 of them told."""
    number = len(kind.deeds)
    times = ngettext("{number} time", "{number} times", number).format(number=number)
    if not kind.told:
        return times
    return _("{times}, of which {told} could be told").format(times=times, told=kind.told)


def _told_from(kind: "KindReview") -> str:
    """Cards, 2 works: -52 % (-70 to -23 %)."""
    if kind.pooled is None or kind.ratio is None or kind.low is None or kind.high is None or kind.method is None:
        return ""
    ends = {"change": percent_phrase(kind.ratio), "low": percent_phrase(kind.low), "high": percent_phrase(kind.high)}
    words = _("{method}, {number} of them: {change} % ({low} to {high} %).")
    return words.format(method=heading(kind.method), number=kind.pooled.number, **ends)


def _deed(reviewed: "DeedReviewed", facilities: Mapping[UUID, "Facility"]) -> DeedInWords:
    deed, effect = reviewed.deed, reviewed.effect
    return DeedInWords(
        when=_when(deed),
        where=_("the whole farm") if deed.facility_id is None else _where(deed, facilities),
        since=" ".join(since_then(effect, facilities)),
        told_from=how_told(effect),
        needed=needed_sentence(effect),
    )


def _when(deed: "Deed") -> str:
    first, last = day_phrase(deed.begins_on), day_phrase(deed.ends_on)
    return first if deed.ends_on == deed.begins_on else _("{first} to {last}").format(first=first, last=last)


def _where(deed: "Deed", facilities: Mapping[UUID, "Facility"]) -> str:
    place = facilities.get(deed.facility_id) if deed.facility_id else None
    return facility_phrase(place) if place else ""
