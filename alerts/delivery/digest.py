"""The weekly digest: one mail a farm and owner, in the owner's language, written when the check ran."""

import logging
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import TYPE_CHECKING
from uuid import UUID

from django.conf import settings
from django.db.models import Exists, OuterRef
from django.urls import reverse
from django.utils.translation import gettext as _

from alerts.checks.by_halves import by_halves
from alerts.checks.failures import set_aside
from alerts.checks.side_by_side import no_search_for_cycles
from alerts.delivery import sentences
from alerts.delivery.adviser_sentences import adviser_paragraph, offers_not_told
from alerts.delivery.chart import picture_of
from alerts.delivery.development_sentences import development_paragraph
from alerts.delivery.letter import Letter
from alerts.delivery.matter_sentences import matters_paragraph
from alerts.delivery.missed_sentences import missed_paragraph, weeks_last_told
from alerts.delivery.outbox import queue
from alerts.delivery.planned_sentences import planned_paragraph
from alerts.delivery.since_sentences import since_paragraph
from alerts.delivery.work_sentences import work_paragraph
from alerts.models import Digest
from alerts.models.outbox import occasion_of
from alerts.selectors.corrections import Correction, corrections_since, last_mails
from alerts.selectors.farm_weeks import FarmWeek, weeks_of_farms
from alerts.selectors.planned_work import with_planned_work
from alerts.selectors.rounds_since import with_rounds_since
from alerts.selectors.station_effects import with_station_effects
from alerts.selectors.work_effects import with_work_effects
from alerts.wording.numbers import day_phrase
from farms.clock import local_date
from farms.selectors import owners_with_address
from farms.showing import Shown, shown_to, told_to

if TYPE_CHECKING:
    from django.db.models import QuerySet

    from farms.models import AdviserOffer, Farm, Group, Membership, User

# Farms whose mails, each with its picture, are held in memory at once.
TOGETHER = 200
logger = logging.getLogger(__name__)


@dataclass(frozen=True)
class Since:
    """What a farm's mail tells beside its week: the weeks after the last that was told, corrections, a new adviser."""

    last_told: date | None = None
    corrected: Sequence[Correction] = ()
    offers: Sequence["AdviserOffer"] = ()


NOTHING_SINCE = Since()


def queue_digests(
    group: "Group", farms: Sequence["Farm"], *, week: date, now: datetime, later_since: datetime | None = None
) -> int:
    """Write the week's mail of each farm to each of its owners who has none yet, and put it into the outbox.

    `later_since`: the newest round of a later week is told in a line of its own, if it was received since. A farm whose
    mail can't be written is set aside with its error; the others get theirs.
    """
    farm_ids = [farm.id for farm in farms]
    corrected = corrections_since(group.id, farm_ids, week, last_mails(farm_ids, week))
    queued = 0
    for part in _parts(farms):
        with no_search_for_cycles():
            weeks = _weeks(part, week, now, later_since)
            queued += queue(_mails(weeks, corrected, now)) if weeks else 0
    return queued


def _weeks(farms: Sequence["Farm"], week: date, now: datetime, later_since: datetime | None) -> list[FarmWeek]:
    """The weeks of farms of one time zone; a farm whose week can't be read is set aside."""

    def read(some: Sequence["Farm"]) -> list[FarmWeek]:
        weeks = weeks_of_farms(some, week, local_date(now, some[0].time_zone))
        return with_rounds_since(weeks, later_since) if later_since else weeks

    def give_up(farm: "Farm", error: Exception) -> list[FarmWeek]:
        set_aside(farm, week, error, now)
        return []

    return [told for part in by_halves(farms, read, give_up) for told in part]


def _mails(weeks: Sequence[FarmWeek], corrected: Mapping[UUID, Sequence[Correction]], now: datetime) -> list[Digest]:
    """The mails of some farms to their owners; a farm whose mail can't be written is set aside."""
    mails: list[Digest] = []
    farm_ids = [told.farm.id for told in weeks]
    owners, last_told, offers = _owners(weeks), weeks_last_told(farm_ids, weeks[0].week), offers_not_told(farm_ids)
    for told in with_effects(weeks):
        try:
            farm_id = told.farm.id
            since = Since(last_told.get(farm_id), corrected.get(farm_id, ()), offers.get(farm_id, ()))
            mails += _digests(told, owners.get(told.farm.id, []), since, now)
        except Exception as error:  # noqa: BLE001  one farm's mail never stops the others'
            set_aside(told.farm, told.week, error, now)
    return mails


def _parts(farms: Sequence["Farm"]) -> Iterator[list["Farm"]]:
    """The farms in parts small enough to hold, each of one time zone: a mail is told from its farm's own day."""
    zones: dict[str, list[Farm]] = {}
    for farm in farms:
        zones.setdefault(farm.time_zone, []).append(farm)
    for own in zones.values():
        yield from (own[start : start + TOGETHER] for start in range(0, len(own), TOGETHER))


def with_effects(weeks: Sequence[FarmWeek]) -> list[FarmWeek]:
    """The weeks with what became of work, where the most is and what is planned; who can't be told it goes without."""
    parts = by_halves(weeks, _with_all, _without_effects)
    return [told for part in parts for told in part]


def _with_all(weeks: Sequence[FarmWeek]) -> list[FarmWeek]:
    return with_planned_work(with_station_effects(with_work_effects(weeks, reports="default")))


def _without_effects(told: FarmWeek, error: Exception) -> list[FarmWeek]:
    logger.error("farm %s: its mail goes without effects of work and stations", told.farm.id, exc_info=error)
    return [told]


def owners_without(farm_ids: Collection[UUID], week: date) -> "QuerySet[Membership]":
    """The owners of these farms for whom no mail about the week was written yet.

    Whoever has no address is told by the adviser (alerts/selectors/told.py).
    """
    return without_mail(owners_with_address(farm_ids), week)


def without_mail(owners: "QuerySet[Membership]", week: date) -> "QuerySet[Membership]":
    """Those of some owners for whom no mail about the week was written yet."""
    theirs = Digest.objects.filter(
        farm_id=OuterRef("farm_id"), recipient_id=OuterRef("user_id"), occasion=occasion_of(week)
    )
    return owners.exclude(Exists(theirs))


def _owners(weeks: Sequence[FarmWeek]) -> dict[UUID, list["User"]]:
    owners: dict[UUID, list[User]] = {}
    for membership in owners_without([told.farm.id for told in weeks], weeks[0].week):
        owners.setdefault(membership.farm_id, []).append(membership.user)
    return owners


def _digests(told: FarmWeek, owners: Sequence["User"], since: Since, now: datetime) -> list[Digest]:
    zone = told.farm.time_zone
    letters: dict[tuple[str, Shown], Letter] = {}
    for owner in owners:
        read_as = owner.language, shown_to(owner, zone)
        if read_as not in letters:
            with told_to(owner, zone):
                letters[read_as] = letter_of(told, since)
    return [_row(told, owner, letters[owner.language, shown_to(owner, zone)], now) for owner in owners]


def _row(told: FarmWeek, owner: "User", letter: Letter, now: datetime) -> Digest:
    with told_to(owner, told.farm.time_zone):
        return Digest(
            farm_id=told.farm.id, recipient=owner, occasion=occasion_of(told.week), language=owner.language,
            subject=letter.subject[:200], headline=sentences.headline(told)[:200], pressing=sentences.pressing(told),
            text=letter.as_text(), html=letter.as_html(),
            picture=letter.picture.png if letter.picture else None,
            picture_text=letter.picture.words if letter.picture else "", needs_a_look=told.needs_a_look, queued_at=now,
            next_try_at=now,
        )  # fmt: skip


def letter_of(told: FarmWeek, since: Since = NOTHING_SINCE) -> Letter:
    """A farm's week in the active language."""
    where, work, planned = sentences.where_paragraph(told), work_paragraph(told), planned_paragraph(told)
    development = development_paragraph(told)
    missed, corrected = missed_paragraph(told, since.last_told), sentences.corrected_paragraph(since.corrected)
    next_round = sentences.next_round_paragraph(told)
    told_and_looked = (since_paragraph(told), where, matters_paragraph(told), development, work, planned)
    others = (*told_and_looked, next_round, adviser_paragraph(since.offers), missed, corrected)
    return Letter(
        subject=sentences.subject(told),
        title=told.farm.name,
        week=_("week of {day}").format(day=day_phrase(told.week)),
        counts=tuple(sentences.count_paragraphs(told)),
        paragraphs=tuple(each for each in others if each is not None),
        picture=picture_of(told),
        link=settings.SITE_URL + reverse("farm", args=[told.farm.id]),
        small_print=small_print(told.farm, cautions=any((where, development, work, planned))),
    )


def small_print(farm: "Farm", *, cautions: bool) -> tuple[str, ...]:
    """Why its reader gets a farm's mail, and the cautions where it tells of work."""
    caution = _(
        "Before any spray, pour-on or bait, the label, local rules and licensed people decide. Cattle and manure gas "
        "can hurt: stay out of pits, and don't work alone among animals."
    )
    reason = _("You get this mail as an owner of {farm}.").format(farm=farm.name)
    return (caution, reason) if cautions else (reason,)
