"""The open matters as an Atom feed (RFC 4287): whose, what, where and since when, with a link. No figures."""

from collections.abc import Iterable, Mapping
from datetime import UTC, datetime
from typing import Any
from uuid import UUID
from xml.etree.ElementTree import Element, SubElement, register_namespace, tostring

from django.conf import settings
from django.urls import reverse
from django.utils.translation import get_language
from django.utils.translation import gettext as _

from server.feeds.texts import plain
from server.web.words import alert_title, week_of

ATOM = "http://www.w3.org/2005/Atom"
LANGUAGE = "{http://www.w3.org/XML/1998/namespace}lang"


def matters_of(alerts: Iterable[Any], names: Mapping[UUID, str], *, feed_id: UUID, changed_at: datetime) -> bytes:
    """The feed in the active language. `names` are the farms' by id; `changed_at` is when something opened or closed.

    RFC 4287 would have a feed link to itself as well (4.1.1): this address is a secret, so it does without.
    """
    register_namespace("", ATOM)
    feed = Element(f"{{{ATOM}}}feed", {LANGUAGE: get_language() or settings.LANGUAGE_CODE})
    _text(feed, "id", feed_id.urn)
    _text(feed, "title", _("Open matters"))
    _text(feed, "updated", _moment(changed_at))
    _text(SubElement(feed, f"{{{ATOM}}}author"), "name", "Flyround")
    _link(feed, reverse("farms"))
    for alert in alerts:
        _entry(feed, alert, names[alert.farm_id])
    return tostring(feed, encoding="utf-8", xml_declaration=True)


def _entry(feed: Element, alert: Any, farm: str) -> None:
    entry = SubElement(feed, f"{{{ATOM}}}entry")
    _text(entry, "id", alert.id.urn)
    _text(entry, "title", f"{plain(farm)}: {plain(alert_title(alert))}")
    _text(entry, "updated", _moment(alert.reopened_at or alert.opened_at))
    _text(entry, "published", _moment(alert.opened_at))
    _link(entry, reverse("alert", args=[alert.farm_id, alert.id]))
    _text(entry, "summary", _("Open since the %(week)s.") % {"week": week_of(alert.opened_week)})


def _text(parent: Element, name: str, text: str) -> None:
    SubElement(parent, f"{{{ATOM}}}{name}").text = text


def _link(parent: Element, address: str) -> None:
    kind = {"rel": "alternate", "type": "text/html", "href": settings.SITE_URL + address}
    SubElement(parent, f"{{{ATOM}}}link", kind)


def _moment(moment: datetime) -> str:
    """RFC 3339, as 4287 asks for: 2026-06-29T07:30:00Z."""
    return moment.astimezone(UTC).isoformat(timespec="seconds").replace("+00:00", "Z")
