"""Where the feeds are read: the address says who asks, and nothing else does. Reading is all that is done there.

A feed is made anew for each request from the farms that its person may see at that moment, through the ordinary door
and with row security acting for them, so it ends with the membership or the consent.
"""

from collections.abc import Callable
from typing import Any
from uuid import uuid4

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.urls import reverse
from django.utils import timezone, translation
from django.utils.translation import gettext as _
from django.views.decorators.csrf import csrf_exempt
from django.views.decorators.http import require_safe

from alerts.selectors import alerts_last_changed, open_alerts_of_farms, rounds_due
from alerts.selectors.planned_work import planned_days
from farms import clock
from farms.access import farms_of
from farms.models import Farm, FeedAddress, User
from farms.models.access import FeedKind
from farms.selectors import feed_by_key
from farms.services import note_feed_use
from farms.tenancy.acting import act_for_nobody, act_for_user
from monitoring.selectors import due_findings
from server.api.conditional import tagged
from server.feeds.calendar import calendar_of
from server.feeds.matters import matters_of
from server.web.limits import WINDOW, tried_too_often

NAMES = {FeedKind.CALENDAR: "rounds_feed", FeedKind.MATTERS: "matters_feed"}
# Addresses that open nothing, in a quarter of an hour from one place: a key can't be guessed, but trying costs us.
MOST_MISSES = 30
Make = Callable[[FeedAddress, list[Farm]], bytes]


def address_of(kind: str, key: str) -> str:
    """The whole address of a feed, as it is told to its person."""
    return settings.SITE_URL + reverse(NAMES[FeedKind(kind)], args=[key])


# Exempt, so that a POST is told that this address is only read (405), with or without a form's token.
@csrf_exempt
@require_safe
def rounds_feed(request: HttpRequest, key: str) -> HttpResponseBase:
    return _answer(request, key, FeedKind.CALENDAR, _calendar)


@csrf_exempt
@require_safe
def matters_feed(request: HttpRequest, key: str) -> HttpResponseBase:
    return _answer(request, key, FeedKind.MATTERS, _matters)


def _calendar(_feed: FeedAddress, farms: list[Farm]) -> bytes:
    now = clock.now()
    return calendar_of(rounds_due(farms, now), planned_days(farms, now), due_findings([farm.id for farm in farms]))


def _matters(feed: FeedAddress, farms: list[Farm]) -> bytes:
    names = {farm.id: farm.name for farm in farms}
    changed = alerts_last_changed(names)
    return matters_of(
        open_alerts_of_farms(names), names, feed_id=feed.id, changed_at=max(changed or feed.made_at, feed.made_at)
    )


CONTENT_TYPES = {FeedKind.CALENDAR: "text/calendar", FeedKind.MATTERS: "application/atom+xml"}


def _answer(request: HttpRequest, key: str, kind: FeedKind, make: Make) -> HttpResponseBase:
    feed = feed_by_key(key, kind)
    # A key that nobody has goes the same way as one whose person lost every farm: it says and costs the same.
    person = feed.user if feed else User(id=uuid4())
    act_for_user(person.id)
    farms = list(farms_of(person).select_related(None).only("id", "name", "time_zone"))
    if feed is None or not farms:
        act_for_nobody()
        return _nothing(request)
    note_feed_use(feed=feed, today=timezone.now().date())
    with translation.override(person.language):
        content = make(feed, farms)
    response = HttpResponse(content, content_type=f"{CONTENT_TYPES[kind]}; charset=utf-8")
    response.headers["Content-Language"] = person.language
    return tagged(request, response)


def _nothing(request: HttpRequest) -> HttpResponse:
    text: dict[str, Any] = {"content_type": "text/plain; charset=utf-8"}
    if tried_too_often(request, "feed", limit=MOST_MISSES):
        text["headers"] = {"Retry-After": str(WINDOW)}
        return HttpResponse(_("Wait a quarter of an hour, then try again."), status=429, **text)
    return HttpResponse(_("There is nothing at this address"), status=404, **text)
