"""The Monday list: one mail an adviser with the farms that let them in, which to call first and why."""

import logging
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import TYPE_CHECKING

from django.conf import settings
from django.db import InterfaceError, OperationalError, transaction
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from alerts.delivery.letter import MARKS, Picture, as_text, render
from alerts.delivery.outbox import queue
from alerts.delivery.small_weeks import picture_of_rows
from alerts.models import MondayList
from alerts.models.outbox import occasion_of
from alerts.selectors.monday import NOT_TOLD, MondayRow, Verdict, count_of, in_parts
from alerts.selectors.monday_rows import monday_rows
from alerts.wording.numbers import day_phrase
from alerts.wording.outlook import list_promise
from farms.clock import local_date
from farms.selectors import advisers_of_group
from farms.showing import told_to

if TYPE_CHECKING:
    from farms.models import Group, User


logger = logging.getLogger(__name__)
WITH_FIGURES = (Verdict.CALL.value, NOT_TOLD)


@dataclass(frozen=True)
class Line:
    """One farm as it is told: its name, its reasons in one line, the figures behind them."""

    name: str
    reasons: str
    numbers: str
    link: str
    level: str

    @property
    def mark(self) -> str:
        return MARKS[self.level]


@dataclass(frozen=True)
class Section:
    """The farms of one verdict, or those that were not told yet."""

    heading: str
    verdict: str
    lines: tuple[Line, ...]


@dataclass(frozen=True)
class MondayLetter:
    """An adviser's list in their language."""

    subject: str
    title: str
    week: str
    sections: tuple[Section, ...]
    picture: Picture | None
    link: str
    small_print: tuple[str, ...]

    def as_text(self) -> str:
        return as_text(
            [
                f"{self.title}, {self.week}",
                *(block for section in self.sections for block in _blocks(section)),
                self.link,
                *self.small_print,
            ]
        )

    def as_html(self) -> str:
        return render("alerts/monday_list.html", letter=self)


def queue_monday_lists(group: "Group", *, week: date, now: datetime) -> int:
    """Write the list of each of the group's advisers who has farms on it and no list yet, and put it into the outbox.

    One that can't be written stops no other; the first such error is raised when the others are written.
    """
    had = MondayList.objects.filter(group_id=group.id, occasion=occasion_of(week)).values("recipient_id")
    errors: list[Exception] = []
    written = 0
    for adviser in advisers_of_group(group.id).exclude(id__in=had):
        try:
            with transaction.atomic():
                written += queue(_lists(group, adviser, week, now))
        except (OperationalError, InterfaceError):
            raise  # the database, not a list
        except Exception as error:
            logger.exception("group %s: the Monday list of %s was not written", group.id, adviser.id)
            errors.append(error)
    if errors:
        raise errors[0]
    return written


def _lists(group: "Group", adviser: "User", week: date, now: datetime) -> list[MondayList]:
    """The adviser's list; none where no farm is on it."""
    day = local_date(now, group.time_zone)
    with told_to(adviser, group.time_zone):
        rows = [row for row in monday_rows(adviser, week, day=day) if row.farm.group_id == group.id]
        if not rows:
            return []
        mail = _mail(group, adviser, letter_of(group, rows, week), week, now)
    mail.farm_ids = [row.farm.id for row in rows]
    mail.needs_a_look = any(row.verdict != Verdict.FINE for row in rows)
    return [mail]


def letter_of(group: "Group", rows: Sequence[MondayRow], week: date) -> MondayLetter:
    """The list in the active language."""
    to_call = [row for row in rows if row.verdict == Verdict.CALL]
    return MondayLetter(
        subject=_subject(rows, week),
        title=group.name,
        week=_("week of {day}").format(day=day_phrase(week)),
        sections=tuple(_sections(rows)),
        picture=picture_of_rows(to_call or [row for row in rows if row.verdict == Verdict.ASK]),
        link=settings.SITE_URL + reverse("monday"),
        small_print=(
            _("Counts of different farms should not be compared: each stands against its own level and its own weeks."),
            list_promise(),
            _("You get this mail as an adviser of {group}; it holds the farms that let you in.").format(
                group=group.name
            ),
        ),
    )


def _mail(group: "Group", adviser: "User", letter: MondayLetter, week: date, now: datetime) -> MondayList:
    return MondayList(
        group=group, recipient=adviser, occasion=occasion_of(week), language=adviser.language,
        subject=letter.subject[:200], text=letter.as_text(), html=letter.as_html(),
        picture=letter.picture.png if letter.picture else None,
        picture_text=letter.picture.words if letter.picture else "", queued_at=now, next_try_at=now,
    )  # fmt: skip


def _subject(rows: Sequence[MondayRow], week: date) -> str:
    """5 farms to call, 3 to ask: week of June 29."""
    call, ask = count_of(rows, Verdict.CALL), count_of(rows, Verdict.ASK)
    if not call and not ask:
        what = _("No farm to call")
    elif not call:
        what = ngettext("{n} farm to ask", "{n} farms to ask", ask).format(n=ask)
    else:
        what = ngettext("{n} farm to call", "{n} farms to call", call).format(n=call)
        what += _(", {n} to ask").format(n=ask) if ask else ""
    return _("{what}: week of {day}").format(what=what, day=day_phrase(week))


def _sections(rows: Sequence[MondayRow]) -> list[Section]:
    return [Section(heading, part, tuple(_line(row) for row in some)) for part, heading, some in in_parts(rows)]


def _line(row: MondayRow) -> Line:
    link = settings.SITE_URL + reverse("farm", args=[row.farm.id])
    return Line(row.farm.name, " · ".join(row.reasons), row.numbers, link, row.level_word)


def _blocks(section: Section) -> list[str]:
    """The section in plain text; figures only where somebody is to be called."""
    return [section.heading.upper(), *(_block(line, section.verdict) for line in section.lines)]


def _block(line: Line, verdict: str) -> str:
    told = f"{line.name} · {line.reasons}"
    return f"{told} · {line.numbers}" if verdict in WITH_FIGURES and line.numbers else told
