"""The coordinator's report: one mail a coordinator, group and week. Which rounds came, by region, and of no farm."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import TYPE_CHECKING
from uuid import UUID

from django.conf import settings
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from alerts.delivery.letter import as_text, render
from alerts.delivery.outbox import queue
from alerts.delivery.participation import FEWEST, Participation, Told, keep_told, participation_of, told_of
from alerts.models import CoordinatorReport
from alerts.models.outbox import occasion_of
from alerts.wording.numbers import day_phrase
from alerts.wording.places import and_list
from alerts.wording.results import heading
from farms.clock import local_date
from farms.selectors import coordinators_of_group, regions_of
from farms.showing import told_to
from monitoring.methods import METHODS
from monitoring.regional.selectors import reports_of_week

if TYPE_CHECKING:
    from farms.models import Group, Region, User

Published = dict[UUID, dict[str, list[str]]]


@dataclass(frozen=True)
class Line:
    """A region, or several, and what is said of it."""

    name: str
    said: str
    link: str = ""


@dataclass(frozen=True)
class Section:
    heading: str
    lines: tuple[Line, ...]
    lead: str = ""


@dataclass(frozen=True)
class Report:
    """A coordinator's report in their language."""

    subject: str
    title: str
    week: str
    sections: tuple[Section, ...]
    link: str
    small_print: tuple[str, ...]

    def as_text(self) -> str:
        blocks = [block for section in self.sections for block in _blocks(section)]
        return as_text([f"{self.title}, {self.week}", *blocks, self.link, *self.small_print])

    def as_html(self) -> str:
        return render("alerts/coordinator_report.html", letter=self)


def queue_coordinator_reports(group: "Group", week: date, now: datetime) -> int:
    """Write the week's report to each of the group's coordinators, and put it into the outbox.

    None where no farm of the group was in season.
    """
    counted = participation_of(group, week, local_date(now, group.time_zone))
    if not counted:
        return 0
    told, regions = told_of(counted), list(regions_of(group))
    keep_told(group.id, week, told)
    published = _published(group, week)
    needs_a_look = len(published) < len(regions) or (told.total is not None and _is_amiss(told.total))
    mails = []
    for coordinator in coordinators_of_group(group.id):
        with told_to(coordinator, group.time_zone):
            mails.append(_mail(group, coordinator, report_of(group, told, regions, published, week), week, now))
            mails[-1].needs_a_look = needs_a_look
    return queue(mails)


def report_of(group: "Group", told: Told, regions: "Sequence[Region]", published: Published, week: date) -> Report:
    """The report in the active language."""
    return Report(
        subject=_subject(group, told, week),
        title=group.name,
        week=_("week of {day}").format(day=day_phrase(week)),
        sections=(_rounds(told, regions), _reports(regions, published)),
        link=settings.SITE_URL + reverse("group", args=[group.id]),
        small_print=(
            _(
                "No farm is named here, and no number stands for fewer than {fewest} farms in season: smaller regions "
                "are told together, or in the total alone."
            ).format(fewest=FEWEST),
            _("You get this mail as a coordinator of {group}.").format(group=group.name),
        ),
    )


def _mail(group: "Group", coordinator: "User", report: Report, week: date, now: datetime) -> CoordinatorReport:
    return CoordinatorReport(
        group=group, recipient=coordinator, occasion=occasion_of(week), language=coordinator.language,
        subject=report.subject[:200], text=report.as_text(), html=report.as_html(), queued_at=now, next_try_at=now,
    )  # fmt: skip


def _published(group: "Group", week: date) -> Published:
    """By region and disclosure, the methods of which a report of the week was published."""
    found: Published = {}
    for report in reports_of_week(group.id, week):
        found.setdefault(report.region_id, {}).setdefault(report.disclosure, []).append(report.method)
    return found


def _is_amiss(total: Participation) -> bool:
    return bool(total.overdue or total.set_aside)


def _subject(group: "Group", told: Told, week: date) -> str:
    """38 of 45 rounds came: week of June 29."""
    what = group.name
    if told.total is not None:
        what = _("{came} of {n} rounds came").format(came=told.total.came, n=told.total.farms)
    return _("{what}: week of {day}").format(what=what, day=day_phrase(week))


def _rounds(told: Told, regions: "Sequence[Region]") -> Section:
    if told.total is None:
        few = _("Fewer than {fewest} farms of the group are in season, so nothing is said of their rounds.")
        return Section(_("Rounds"), (), few.format(fewest=FEWEST))
    # Two regions of a group may have the same name.
    lines = [Line(region.name, _said(told.regions[region.id])) for region in regions if region.id in told.regions]
    if told.smaller is not None:
        lines.append(Line(_("Smaller regions"), _said(told.smaller)))
    if len(lines) != 1:
        lines.append(Line(_("The whole group"), _said(told.total)))
    return Section(_("Rounds"), tuple(lines))


def _said(own: Participation) -> str:
    """12 farms in season · 10 rounds came · 2 rounds overdue · 1 farm set aside with an error."""
    parts = [
        ngettext("{n} farm in season", "{n} farms in season", own.farms).format(n=own.farms),
        ngettext("{n} round came", "{n} rounds came", own.came).format(n=own.came),
        ngettext("{n} round overdue", "{n} rounds overdue", own.overdue).format(n=own.overdue) if own.overdue else "",
        _set_aside(own.set_aside) if own.set_aside else "",
    ]
    return " · ".join(part for part in parts if part)


def _set_aside(number: int) -> str:
    words = ngettext(
        "{n} farm set aside with an error, tried again", "{n} farms set aside with an error, tried again", number
    )
    return words.format(n=number)


def _reports(regions: "Sequence[Region]", published: Published) -> Section:
    lines = [Line(region.name, _as_what(published.get(region.id, {})), _page_of(region)) for region in regions]
    return Section(_("Region reports"), tuple(lines))


def _page_of(region: "Region") -> str:
    return f"{settings.SITE_URL}{reverse('region', args=[region.id])}"


def _as_what(methods: dict[str, list[str]]) -> str:
    """Published: cards and traps with numbers; nothing may be said of legs."""
    words = {
        "numbers": _("{methods} with numbers"),
        "word": _("{methods} in a word"),
        "nothing": _("nothing may be said of {methods}"),
    }
    said = [words[each].format(methods=_named(methods[each])) for each in words if each in methods]
    if not said:
        return _("Not published.")
    return _("Published: {what}.").format(what="; ".join(said))


def _named(methods: Sequence[str]) -> str:
    return and_list([heading(method).lower() for method in METHODS if method in methods])


def _blocks(section: Section) -> Iterator[str]:
    yield section.heading.upper()
    if section.lead:
        yield section.lead
    for line in section.lines:
        yield f"{line.name}: {line.said}"
