"""The rounds due as an iCalendar object (RFC 5545, with what RFC 7986 adds): dates and names, never a count."""

from collections.abc import Iterable
from datetime import UTC, datetime, timedelta
from uuid import UUID, uuid5

from django.conf import settings
from django.urls import reverse
from django.utils.translation import get_language
from django.utils.translation import gettext as _
from icalendar import Calendar, Event

from alerts.selectors import RoundDue
from server.feeds.texts import plain

# Made of the farm's id and a word of ours, so that a farm's event keeps its UID while its day moves.
UIDS = UUID("1f0c8a52-6d0e-5b43-9f52-3c1d1a7e40aa")
ASK_AGAIN = timedelta(hours=6)
# SEQUENCE is a whole number of 32 bits: seconds from here fit until 2088.
SEQUENCE_BEGINS = datetime(2020, 1, 1, tzinfo=UTC)


def calendar_of(rounds: Iterable[RoundDue]) -> bytes:
    """The calendar in the active language, one event of a whole day a farm. The same rounds give the same bytes."""
    spoken = {"LANGUAGE": get_language() or settings.LANGUAGE_CODE}
    calendar = Calendar()
    calendar.add("version", "2.0")
    calendar.add("prodid", "-//Flyround//Rounds due//EN")
    calendar.add("name", _("Fly rounds due"), parameters=spoken)
    calendar.add("refresh-interval", ASK_AGAIN, parameters={"VALUE": "DURATION"})
    for due in rounds:
        calendar.add_component(_event(due, spoken))
    return bytes(calendar.to_ical())


def _event(due: RoundDue, spoken: dict[str, str]) -> Event:
    """DTSTAMP is when the event was last revised, since no METHOD is given (RFC 5545, 3.8.7.2)."""
    noted = due.noted_at.astimezone(UTC).replace(microsecond=0)
    event = Event()
    event.add("uid", str(uuid5(UIDS, str(due.farm.id))))
    event.add("dtstamp", noted)
    event.add("last-modified", noted)
    event.add("sequence", max(0, int((noted - SEQUENCE_BEGINS).total_seconds())))
    event.add("dtstart", due.day)
    event.add("transp", "TRANSPARENT")
    event.add("summary", _("{farm}: fly round due").format(farm=plain(due.farm.name)), parameters=spoken)
    event.add("url", settings.SITE_URL + reverse("farm", args=[due.farm.id]))
    return event
