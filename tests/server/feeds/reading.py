"""How the tests make an address and read what stands there."""

from typing import Any
from urllib.parse import urlsplit
from xml.etree import ElementTree as ET

from django.test import Client
from django.utils import timezone
from icalendar import Calendar

from farms.models import User
from farms.services import make_feed
from server.feeds.views import address_of
from tests.cast import acting

ATOM = "{http://www.w3.org/2005/Atom}"


def feed_of(user: User, kind: str = "calendar") -> str:
    """The path of a new feed of a person."""
    with acting(user):
        _feed, key = make_feed(user=user, kind=kind, now=timezone.now())
    return urlsplit(address_of(kind, key)).path


def ask(path: str, **headers: str) -> Any:
    return Client(headers={"host": "localhost", **headers}).get(path)


def events(path: str) -> dict[str, Any]:
    """The calendar's events by their summary."""
    answer = ask(path)
    assert answer.status_code == 200, answer.content
    return {str(event["SUMMARY"]): event for event in Calendar.from_ical(answer.content).walk("VEVENT")}


def entries(path: str) -> list[dict[str, str]]:
    """The Atom feed's entries: the text of each element by its name, the link's address as `link`."""
    answer = ask(path)
    assert answer.status_code == 200, answer.content
    found = ET.fromstring(answer.content).findall(f"{ATOM}entry")
    return [{part.tag.removeprefix(ATOM): part.text or part.get("href", "") for part in entry} for entry in found]
