"""The mail between two Mondays: to a farm's owners, where something crossed its action level sharply.

In the running week, or in the week judged last after the farm's mail about it was written. At most one a farm and ISO
week. How far the rounds were looked at is noted on the week's run, in the transaction that writes the mails: a crash
loses nothing and writes nothing twice.
"""

from collections.abc import Iterable, Sequence
from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING
from uuid import UUID

from django.conf import settings
from django.db import DatabaseError, transaction
from django.urls import reverse
from django.utils.formats import number_format
from django.utils.translation import gettext as _

from alerts.checks.calendar import WEEK, newest_due, received_from
from alerts.checks.failures import set_aside
from alerts.delivery.digest import small_print
from alerts.delivery.letter import Letter, Paragraph, paragraph, strong
from alerts.delivery.outbox import queue
from alerts.delivery.work_sentences import last_noted
from alerts.models import Assessment, CheckRun, Digest
from alerts.models.check import RunState
from alerts.models.outbox import midweek_occasion_of
from alerts.selectors.midweek import OLDEST, Crossed, Midweek, midweek_of
from alerts.wording.numbers import day_phrase, weekday_phrase
from alerts.wording.places import and_list, facility_phrase, places_to_look, siting_phrase, stations_phrase
from alerts.wording.results import heading, level_phrase, mean_phrase, methods_phrase
from farms.lookups import array_of
from farms.selectors import owners_with_address
from farms.showing import told_to
from monitoring.methods import METHODS
from monitoring.selectors import PlaceToLook

if TYPE_CHECKING:
    from farms.models import Group, User

# A round's moment is taken before it is stored, and its readings may follow: so far a look goes back behind the last.
OVERLAP = timedelta(minutes=15)
MOST_PLACES_IN_SUBJECT = 2
PRESSING = 5  # as a digest of what is over its level


@transaction.atomic
def queue_midweek_mails(group: "Group", now: datetime) -> int:
    """Look at the group's rounds since the last look, and write a mail where one crossed its level sharply."""
    run = _newest_run(group, now)
    if run is None:
        return 0
    # The first look sees all that its week brought: a check may have run late, and judged none of it.
    last = run.looked_to or received_from(run.week + WEEK, group.time_zone)
    since = max(last - OVERLAP, now - OLDEST)
    found = _without_mail(midweek_of(run, since, now))
    mails, failed = _mails(found, now)
    # Where a mail could not be written the next look begins where this one did, and finds its round again.
    CheckRun.objects.filter(id=run.id).update(looked_to=since + OVERLAP if failed else now)
    return queue(mails)


def _newest_run(group: "Group", now: datetime) -> CheckRun | None:
    """The group's newest week where it is judged, held against another worker's look."""
    runs = CheckRun.objects.select_for_update(of=("self",)).select_related("group")
    return runs.filter(group_id=group.id, week=newest_due(group.time_zone, now), state=RunState.DONE).first()


def _without_mail(found: list[Midweek]) -> list[Midweek]:
    """Those farms of which none was written this week, to no owner."""
    if not found:
        return []
    farm_ids = array_of(told.farm.id for told in found)
    written = Digest.objects.filter(farm_id__any_of=farm_ids, occasion=midweek_occasion_of(found[0].week))
    had = set(written.values_list("farm_id", flat=True))
    return [told for told in found if told.farm.id not in had]


def _mails(found: list[Midweek], now: datetime) -> tuple[list[Digest], int]:
    """The mails, and of how many farms they could not be written: those are set aside, and stop no others."""
    mails: list[Digest] = []
    failed, owners = 0, dict[UUID, list["User"]]()
    for membership in owners_with_address([told.farm.id for told in found]):
        owners.setdefault(membership.farm_id, []).append(membership.user)
    for told in found:
        try:
            mails += [_mail(told, owner, now) for owner in owners.get(told.farm.id, [])]
        except DatabaseError:
            raise  # the database, not a farm: nothing is asked of it here
        except Exception as error:  # noqa: BLE001  one farm's mail never stops the others'
            failed += 1
            set_aside(told.farm, told.week - WEEK, error, now)
    return mails, failed


def _mail(told: Midweek, owner: "User", now: datetime) -> Digest:
    with told_to(owner, told.farm.time_zone):
        letter = letter_of(told)
        return Digest(
            farm_id=told.farm.id, recipient=owner, occasion=midweek_occasion_of(told.week), language=owner.language,
            subject=letter.subject[:200], headline=_headline(told)[:200], pressing=PRESSING, text=letter.as_text(),
            html=letter.as_html(), needs_a_look=True, queued_at=now, next_try_at=now,
        )  # fmt: skip


def letter_of(told: Midweek) -> Letter:
    """What crossed, where to look, the last work, in the active language."""
    return Letter(
        subject=_("{headline}, round of {day}").format(headline=_headline(told), day=day_phrase(told.walked_on)),
        title=told.farm.name,
        week=_("round of {day}").format(day=weekday_phrase(told.walked_on)),
        counts=tuple(_what(each, told.week) for each in told.crossed),
        paragraphs=(*_where(told.crossed), _work(told), _why_now(told)),
        picture=None,
        link=settings.SITE_URL + reverse("farm", args=[told.farm.id]),
        small_print=small_print(told.farm, cautions=True),
    )


def _headline(told: Midweek) -> str:
    """Hollow Creek: cards far over your action level in the calf barn."""
    places = list(dict.fromkeys(facility_phrase(each.result.facility) for each in told.crossed))
    facts = {"farm": told.farm.name, "methods": methods_phrase(_row(each) for each in told.crossed)}
    if len(places) > MOST_PLACES_IN_SUBJECT:
        words = _("{farm}: {methods} far over your action level in {number} places")
        return words.format(number=len(places), **facts)
    return _("{farm}: {methods} far over your action level in {places}").format(places=and_list(places), **facts)


def _what(crossed: Crossed, running: date) -> Paragraph:
    """Cards in the calf barn: 210 specks a card (170 to 260). Over your action level of 100. That is 2.1 times ..."""
    row, result = _row(crossed), crossed.result
    place = facility_phrase(result.facility)
    return paragraph(
        f"{mean_phrase(row)}.",
        strong(f"{level_phrase(row)}."),
        _("That is {times} times the level, and the whole range is over it.").format(
            times=_times(result.mean, result.level)
        ),
        _late(crossed.week) if crossed.week < running else "",
        _before(crossed.before),
        heading=_("{method} in {place}").format(method=heading(row.method), place=place),
        level=row.result,
    )


def _row(crossed: Crossed) -> Assessment:
    """The round's result in the shape of a week's, for the same sentences."""
    result = crossed.result
    return Assessment(
        method=result.method.code, mean=result.mean, low=crossed.low, high=crossed.high, at_least=result.at_least,
        level=result.level, result=result.word,
    )  # fmt: skip


def _times(mean: float | None, level: float | None) -> str:
    return number_format(int((mean or 0.0) / (level or 1.0) * 10) / 10, 1, use_l10n=True)


def _before(before: Assessment | None) -> str:
    if before is None or before.mean is None:
        return ""
    return _("In the week of {day} it was {mean}.").format(day=day_phrase(before.week), mean=mean_phrase(before))


def _late(week: date) -> str:
    return _("This round counts for the week of {day}, whose mail was written before it came.").format(
        day=day_phrase(week)
    )


def _where(crossed: Iterable[Crossed]) -> list[Paragraph]:
    """For each place once: what holds the most there, what its siting says, and where flies may hatch."""
    by_place: dict[UUID, list[Crossed]] = {}
    for each in crossed:
        by_place.setdefault(each.result.facility.id, []).append(each)
    return [_place(own) for own in by_place.values()]


def _place(crossed: Sequence[Crossed]) -> Paragraph:
    facility = crossed[0].result.facility
    held = [sentence for each in crossed for sentence in _station(each.result.place)]
    look = _("Worth a look there first: {places}.") if held else _("Worth a look in {place}: {places}.")
    return paragraph(*held, look.format(place=facility_phrase(facility), places=places_to_look(facility.kind)))


def _station(place: PlaceToLook | None) -> list[str]:
    """Card 5 holds the most: 42 % of it. Card 5 hangs near water, so flies may only rest there."""
    if place is None:
        return []
    method, siting = place.station.method, getattr(place.station, "siting", None)
    named = stations_phrase(method, [place.station.number])
    most = _("{named} holds the most: {share} % of it.").format(named=named, share=round(100 * place.share))
    if siting is None or not METHODS[method].hangs:
        return [most]
    return [most, siting_phrase(named, 1, siting.near, windy=siting.windy) + "."]


def _work(told: Midweek) -> Paragraph:
    if told.work is None:
        return paragraph(_("No work has been noted yet this season."))
    place = told.work.facility
    facilities = {place.id: place} if place is not None else {}
    return paragraph(f"{last_noted(told.work, facilities)}.")


def _why_now(told: Midweek) -> Paragraph:
    if all(each.week < told.week for each in told.crossed):
        return paragraph(
            _("This mail did not wait for Monday, since it rose so sharply. The week has been judged again with it.")
        )
    return paragraph(
        _(
            "This mail did not wait for Monday, since it rose so sharply. On Monday the week is judged with all that "
            "is counted by then."
        )
    )
