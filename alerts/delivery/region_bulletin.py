"""The bulletin of a region: what was published of a week, to whoever asked for it. From stored reports only."""

from collections.abc import Iterator, Sequence
from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING
from uuid import UUID

from django.conf import settings
from django.urls import reverse
from django.utils.translation import gettext as _

from alerts.delivery.chart import PIXELS
from alerts.delivery.letter import Letter, Paragraph, Picture, paragraph, render
from alerts.delivery.outbox import queue
from alerts.delivery.region_chart import normal_chart
from alerts.delivery.region_sentences import rising_lines, week_paragraphs
from alerts.models import RegionBulletin, RegionBulletinChoice
from alerts.models.mail_choice import HowOften
from alerts.models.outbox import occasion_of
from alerts.selectors.region_seasons import RegionSeason, season_of_region
from alerts.wording import regions as words
from alerts.wording.numbers import day_phrase
from farms.agreement import licence_of_group
from farms.clock import local_date
from farms.selectors import regions_of
from farms.showing import told_to
from monitoring.charts import to_mail_png

if TYPE_CHECKING:
    from farms.licences import Licence
    from farms.models import Group, Region, User

SHOWN = timedelta(weeks=11)


def queue_region_bulletins(group: "Group", week: date, now: datetime) -> int:
    """Write the week's bulletin of each region to each reader who wants it and has none yet. Returns how many.

    Nothing goes out of a region before a report of that week is published and tells something.
    """
    readers = _readers(group.id)
    if not readers:
        return 0
    licence = licence_of_group(group.id, local_date(now, group.time_zone))
    regions = [region for region in regions_of(group).select_related("group") if region.id in readers]
    return queue(mail for region in regions for mail in _mails(region, readers[region.id], week, now, licence))


def _readers(group_id: UUID) -> "dict[UUID, list[User]]":
    """By region, who wants its bulletin now, by what they chose last. One query."""
    rows = RegionBulletinChoice.objects.filter(region__group_id=group_id, recipient__is_active=True)
    newest = rows.order_by("region_id", "recipient_id", "-chosen_at", "-id").distinct("region_id", "recipient_id")
    found: dict[UUID, list[User]] = {}
    for row in newest.select_related("recipient"):
        if row.how_often != HowOften.NONE:
            found.setdefault(row.region_id, []).append(row.recipient)
    return found


def _mails(
    region: "Region", readers: "Sequence[User]", week: date, now: datetime, licence: "Licence"
) -> Iterator[RegionBulletin]:
    occasion = occasion_of(week)
    written = RegionBulletin.objects.filter(region_id=region.id, occasion=occasion)
    known = set(written.values_list("recipient_id", flat=True))
    missing = [reader for reader in readers if reader.id not in known]
    season = season_of_region(region.id, week - SHOWN, week, using="default") if missing else RegionSeason((), {})
    if season.week != week or not tells_something(season):
        return
    for reader in missing:
        with told_to(reader, region.group.time_zone):
            letter = bulletin_letter(region, season, licence)
            html = render("alerts/region_bulletin.html", letter=letter)
        picture = letter.picture
        yield RegionBulletin(
            group_id=region.group_id, region=region, recipient=reader, occasion=occasion, language=reader.language,
            subject=letter.subject[:200], text=letter.as_text(), html=html,
            picture=picture.png if picture else None, picture_text=picture.words if picture else "",
            needs_a_look=needs_a_look(season), queued_at=now, next_try_at=now,
        )  # fmt: skip


def tells_something(season: RegionSeason) -> bool:
    """Whether the newest week says more than nothing of any method."""
    reports = [season.now(method) for method in season.methods]
    return any(report is not None and report.disclosure != "nothing" for report in reports)


def needs_a_look(season: RegionSeason) -> bool:
    """Whether something rises in the newest week, or its mean is over the action level."""
    reports = [season.now(method) for method in season.methods]
    return any(words.is_rising(report) or words.level_of(report) == "over" for report in reports)


def bulletin_letter(region: "Region", season: RegionSeason, licence: "Licence") -> Letter:
    """The mail in the active language, of the season's newest week."""
    if season.week is None:
        raise ValueError("A bulletin is of a week of which something was published.")
    pdf = settings.SITE_URL + reverse("bulletin", args=[region.id]) + f"?week={season.week:%Y-%m-%d}"
    return Letter(
        subject=subject_of(region, season),
        title=region.name,
        week=_("week of {day}").format(day=day_phrase(season.week)),
        counts=tuple(week_paragraphs(season)),
        paragraphs=tuple(closing_paragraphs(season)),
        picture=_picture(season),
        link=settings.SITE_URL + reverse("region", args=[region.id]),
        small_print=(
            *small_print(region, licence),
            _("The same to print: {link}").format(link=pdf),
            _("You get this mail because you asked for it on the region's page."),
        ),
    )


def subject_of(region: "Region", season: RegionSeason) -> str:
    """Lower Valley: cards 1.3 times their own normal, rising; week of June 29."""
    told = [words.headline(season.now(method), method) for method in season.methods]
    first = next((each for each in told if each), "")
    what = f"{region.name}: {first[:1].lower()}{first[1:]}" if first else region.name
    return _("{what}, week of {day}").format(what=what, day=day_phrase(season.week)) if season.week else what


def closing_paragraphs(season: RegionSeason) -> Iterator[Paragraph]:
    """What is rising where, why the own normal comes first, and what holds before any work."""
    lines = [f"{what}: {growth}." for what, growth in rising_lines(season)]
    yield paragraph(*lines, heading=_("What is rising where"))
    yield paragraph(words.why_own_normal())
    yield paragraph(*words.cautions())


def small_print(region: "Region", licence: "Licence") -> tuple[str, ...]:
    """That no farm is in it, and its licence."""
    return (
        _("No farm is named here, and no farm's number can be worked out from it. {why}").format(
            why=words.why_not_told()
        ),
        _("Region reports of {group}. They may be used and passed on under {licence}:").format(
            group=region.group.name, licence=licence.name
        ),
        licence.url,
    )


def _picture(season: RegionSeason) -> Picture | None:
    method = shown_method(season)
    if method is None:
        return None
    svg, chart = normal_chart(season, method, "narrow")
    return Picture(to_mail_png(svg, width=PIXELS), f"{chart.title}. {chart.description}")


def shown_method(season: RegionSeason) -> str | None:
    """The first method of which any week tells how far from their own normal the farms are."""
    return next(filter(season.tells_normal, season.methods), None)
