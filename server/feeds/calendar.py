"""Rounds due and planned work as an iCalendar object (RFC 5545, with what RFC 7986 adds): dates and names, no count.

What somebody wrote about a plan stays on the farm's pages: a feed's address is all that its reader needs.
"""

from collections.abc import Iterable
from datetime import UTC, date, datetime, timedelta
from typing import TYPE_CHECKING
from uuid import UUID, uuid5

from django.conf import settings
from django.urls import reverse
from django.utils.translation import get_language
from django.utils.translation import gettext as _
from icalendar import Alarm, Calendar, Event

from alerts.selectors import RoundDue
from monitoring.selectors import PlannedDay
from server.feeds.texts import plain

if TYPE_CHECKING:
    from farms.models import Farm

# Made of the farm's id, or of a plan's and its day, so that a farm's round keeps its UID while its day moves.
UIDS = UUID("1f0c8a52-6d0e-5b43-9f52-3c1d1a7e40aa")
ASK_AGAIN = timedelta(hours=6)
# After an all-day event's midnight, by the clock of whoever reads it (RFC 5545, 3.8.6.3).
MORNING = timedelta(hours=7)
# SEQUENCE is a whole number of 32 bits: seconds from here fit until 2088.
SEQUENCE_BEGINS = datetime(2020, 1, 1, tzinfo=UTC)


def calendar_of(rounds: Iterable[RoundDue], works: Iterable[tuple["Farm", PlannedDay]] = ()) -> bytes:
    """The calendar in the active language: an event of a whole day for each farm's round, and each day of planned work
    that is due or to come; what is done or left out is in it no more. The same of both gives the same bytes.
    """
    spoken = {"LANGUAGE": get_language() or settings.LANGUAGE_CODE}
    calendar = Calendar()
    calendar.add("version", "2.0")
    calendar.add("prodid", "-//Flyround//Rounds due//EN")
    calendar.add("name", _("Fly rounds and planned work"), parameters=spoken)
    calendar.add("refresh-interval", ASK_AGAIN, parameters={"VALUE": "DURATION"})
    for due in rounds:
        words = _("{farm}: fly round due").format(farm=plain(due.farm.name))
        at = reverse("farm", args=[due.farm.id])
        calendar.add_component(_event(str(due.farm.id), due.day, due.noted_at, {"summary": words, "at": at}, spoken))
    for farm, planned in works:
        calendar.add_component(_work_event(farm, planned, spoken))
    return bytes(calendar.to_ical())


def _work_event(farm: "Farm", each: PlannedDay, spoken: dict[str, str]) -> Event:
    """Its UID is of the plan and the day, so that it stays the same until the day is done, and comes back if not."""
    row = each.planned
    what = str(row.get_kind_display())
    place = f", {plain(row.facility.name)}" if row.facility else ""
    told = {
        "summary": _("{farm}: {work}").format(farm=plain(farm.name), work=what + place),
        "at": reverse("planned_work", args=[farm.id, row.id]),
    }
    event = _event(f"{row.id} {each.day}", each.day, row.recorded_at, told, spoken)
    alarm = Alarm()
    alarm.add("action", "DISPLAY")
    alarm.add("description", told["summary"], parameters=spoken)
    alarm.add("trigger", MORNING)
    event.add_component(alarm)
    return event


def _event(name: str, day: date, noted_at: datetime, told: dict[str, str], spoken: dict[str, str]) -> Event:
    """DTSTAMP is when the event was last revised, since no METHOD is given (RFC 5545, 3.8.7.2)."""
    noted = noted_at.astimezone(UTC).replace(microsecond=0)
    event = Event()
    event.add("uid", str(uuid5(UIDS, name)))
    event.add("dtstamp", noted)
    event.add("last-modified", noted)
    event.add("sequence", max(0, int((noted - SEQUENCE_BEGINS).total_seconds())))
    event.add("dtstart", day)
    event.add("transp", "TRANSPARENT")
    event.add("summary", told["summary"], parameters=spoken)
    event.add("url", settings.SITE_URL + told["at"])
    return event
