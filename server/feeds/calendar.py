"""Rounds due, planned work, and what a fly walk left to do, as an iCalendar object (RFC 5545, with RFC 7986).

Dates and names, never a count. What somebody wrote about it stays on the farm's pages: a feed's address is all that its
reader needs.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import TYPE_CHECKING, Any
from uuid import UUID, uuid5

from django.conf import settings
from django.urls import reverse
from django.utils.translation import get_language
from django.utils.translation import gettext as _
from icalendar import Alarm, Calendar, Event

from alerts.selectors import RoundDue
from monitoring.models.walk import FindingState
from monitoring.selectors import PlannedDay
from server.feeds.texts import plain

if TYPE_CHECKING:
    from farms.models import Farm

# Made of the farm's or the finding's id, or of a plan's and its day: an event keeps its UID while its day moves.
UIDS = UUID("1f0c8a52-6d0e-5b43-9f52-3c1d1a7e40aa")
ASK_AGAIN = timedelta(hours=6)
# After an all-day event's midnight, by the clock of whoever reads it (RFC 5545, 3.8.6.3).
MORNING = timedelta(hours=7)
# SEQUENCE is a whole number of 32 bits: seconds from here fit until 2088.
SEQUENCE_BEGINS = datetime(2020, 1, 1, tzinfo=UTC)


@dataclass(frozen=True)
class Entry:
    """One day of the calendar: what it is about, since when it is so, and the page that says more."""

    about: str
    noted_at: datetime
    day: date
    summary: str
    page: str


def calendar_of(
    rounds: Iterable[RoundDue], works: Iterable[tuple["Farm", PlannedDay]] = (), findings: Iterable[Any] = ()
) -> bytes:
    """The calendar in the active language: an event of a whole day for each farm's round, each day of planned work and
    each finding that is due or to come; what is done or left out is in it no more. The same give the same bytes.

    `findings`: with their `due`, `state`, `noted_at` and farm (monitoring.selectors.due_findings).
    """
    spoken = {"LANGUAGE": get_language() or settings.LANGUAGE_CODE}
    calendar = Calendar()
    calendar.add("version", "2.0")
    calendar.add("prodid", "-//Flyround//Rounds due//EN")
    calendar.add("name", _("Fly rounds and planned work"), parameters=spoken)
    calendar.add("refresh-interval", ASK_AGAIN, parameters={"VALUE": "DURATION"})
    for due in rounds:
        what = _("{farm}: fly round due").format(farm=plain(due.farm.name))
        page = reverse("farm", args=[due.farm.id])
        calendar.add_component(_event(Entry(str(due.farm.id), due.noted_at, due.day, what, page), spoken))
    for farm, planned in works:
        calendar.add_component(_work_event(farm, planned, spoken))
    for row in findings:
        page = reverse("finding", args=[row.farm_id, row.known])
        calendar.add_component(_event(Entry(str(row.known), row.noted_at, row.due, _left_to_do(row), page), spoken))
    return bytes(calendar.to_ical())


def _work_event(farm: "Farm", each: PlannedDay, spoken: dict[str, str]) -> Event:
    """Its UID is of the plan and the day, so that it stays the same until the day is done, and comes back if not."""
    row = each.planned
    what = str(row.get_kind_display())
    place = f", {plain(row.facility.name)}" if row.facility else ""
    summary = _("{farm}: {work}").format(farm=plain(farm.name), work=what + place)
    page = reverse("planned_work", args=[farm.id, row.id])
    event = _event(Entry(f"{row.id} {each.day}", row.recorded_at, each.day, summary, page), spoken)
    alarm = Alarm()
    alarm.add("action", "DISPLAY")
    alarm.add("description", summary, parameters=spoken)
    alarm.add("trigger", MORNING)
    event.add_component(alarm)
    return event


def _left_to_do(row: Any) -> str:
    """Hollow Creek: look again, gutters, Calf barn."""
    place = row.get_place_display()
    where = f"{place}, {row.facility.name}" if row.facility else str(place)
    words = _("{farm}: look again, {where}") if row.state == FindingState.TO_CHECK else _("{farm}: to do, {where}")
    return plain(words.format(farm=row.farm.name, where=where))


def _event(entry: Entry, spoken: dict[str, str]) -> Event:
    """DTSTAMP is when the event was last revised, since no METHOD is given (RFC 5545, 3.8.7.2)."""
    noted = entry.noted_at.astimezone(UTC).replace(microsecond=0)
    event = Event()
    event.add("uid", str(uuid5(UIDS, entry.about)))
    event.add("dtstamp", noted)
    event.add("last-modified", noted)
    event.add("sequence", max(0, int((noted - SEQUENCE_BEGINS).total_seconds())))
    event.add("dtstart", entry.day)
    event.add("transp", "TRANSPARENT")
    event.add("summary", entry.summary, parameters=spoken)
    event.add("url", settings.SITE_URL + entry.page)
    return event
