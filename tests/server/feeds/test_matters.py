"""The open matters as Atom, read by the standard library and against the text of RFC 4287."""

import re
from datetime import datetime
from uuid import UUID
from xml.etree import ElementTree as ET

import pytest

from alerts.models import Alert
from tests.alerts.scene import alerts, check, count_week, monday
from tests.cast import NOW, as_factory
from tests.server.feeds.reading import ATOM, ask, entries, feed_of

pytestmark = pytest.mark.django_db
# RFC 3339, which RFC 4287 (3.3) narrows: T and Z in capitals.
MOMENT = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d+)?(Z|[+-]\d\d:\d\d)")


@pytest.fixture
def over(group, northfield, cards):
    """Northfield's cards are over their level."""
    for number in (6, 7):
        count_week(cards, monday(number), [8137, 8138, 8139, 8140, 8141])
        check(group, monday(number))
    (alert,) = (each for each in alerts(northfield, still_open=True) if each.rule == "over")
    return alert


def test_each_open_matter_says_whose_what_and_since_when(northfield, anna, over):
    told = {entry["title"]: entry for entry in entries(feed_of(anna, "matters"))}
    entry = told["Northfield: Cards: over the action level, Calf barn"]
    assert entry["summary"] == "Open since the week of May 18."
    assert entry["link"] == f"https://flies.example.org/farms/{northfield.id}/matters/{over.id}/"
    assert UUID(entry["id"]) == over.id and entry["id"].startswith("urn:uuid:")


def test_the_link_asks_to_sign_in(northfield, anna, over):
    path = f"/farms/{northfield.id}/matters/{over.id}/"
    assert ask(path).status_code == 302


def test_a_closed_matter_leaves_and_the_feed_says_when(northfield, anna, over):
    path = feed_of(anna, "matters")
    number = len(entries(path))
    with as_factory():
        Alert.objects.filter(farm=northfield, id=over.id).update(
            closed_at=NOW.replace(year=2099), closed_week=monday(8), closed_because="back_below"
        )
    assert len(entries(path)) == number - 1
    assert ET.fromstring(ask(path).content).findtext(f"{ATOM}updated") == "2099-06-01T12:00:00Z"


def test_no_count_and_no_number_is_in_it(northfield, anna, over):
    for entry in entries(feed_of(anna, "matters")):
        assert not re.search(r"\d", entry["title"])
        assert re.fullmatch(r"Open since the week of \w+ \d{1,2}\.", entry["summary"])


def test_ben_reads_his_in_spanish(northfield, ben, over):
    answer = ask(feed_of(ben, "matters"), accept_language="en")
    feed = ET.fromstring(answer.content)
    assert feed.get("{http://www.w3.org/XML/1998/namespace}lang") == "es" == answer.headers["Content-Language"]
    told = {entry["title"]: entry["summary"] for entry in entries(feed_of(ben, "matters"))}
    assert (
        told["Northfield: Tarjetas: sobre el nivel de acción, Calf barn"] == "Abierto desde la semana del 18 de mayo."
    )


def test_it_holds_what_the_standard_requires(northfield, anna, over):
    """RFC 4287: 4.1.1 and 4.1.2, element by element. Its grammar (appendix B) is not run here, only read."""
    answer = ask(feed_of(anna, "matters"))
    assert answer.headers["Content-Type"] == "application/atom+xml; charset=utf-8"
    feed = ET.fromstring(answer.content)
    assert feed.tag == f"{ATOM}feed"
    found = [feed, *feed.findall(f"{ATOM}entry")]
    assert len(found) > 1
    for element in found:
        for once in ("id", "title", "updated"):
            assert len(element.findall(f"{ATOM}{once}")) == 1, once
        assert all(
            MOMENT.fullmatch(each.text) for name in ("updated", "published") for each in element.iter(ATOM + name)
        )
        # An entry without content has to link to its page; no two alternates of one type and language.
        kinds = [(link.get("rel"), link.get("type")) for link in element.findall(f"{ATOM}link")]
        assert kinds == [("alternate", "text/html")]
    # An author of the feed is the author of its entries (4.2.1); a person has exactly one name (3.2.1).
    assert len(feed.findall(f"{ATOM}author")) == 1 == len(feed.findall(f"{ATOM}author/{ATOM}name"))
    ids = [element.findtext(f"{ATOM}id") for element in found]
    assert len(set(ids)) == len(ids)
    known = {"id", "title", "updated", "published", "author", "link", "entry", "summary", "name", "feed"}
    assert {element.tag.removeprefix(ATOM) for element in feed.iter()} <= known


def test_ids_and_times_stay_and_with_them_the_bytes(northfield, anna, over):
    path = feed_of(anna, "matters")
    first = ask(path)
    assert ask(path).content == first.content
    assert ask(path, if_none_match=first.headers["ETag"]).status_code == 304
    (updated,) = {entry["updated"] for entry in entries(path) if UUID(entry["id"]) == over.id}
    assert datetime.fromisoformat(updated) == over.opened_at.replace(microsecond=0)


def test_a_name_that_xml_can_not_hold(northfield, anna, over):
    with as_factory():
        northfield.name = "North\x0bfield <&> \x1f\ufffe"
        northfield.save(force_update=True)
    assert any(entry["title"].startswith("North field <&>:") for entry in entries(feed_of(anna, "matters")))
    assert {entry["title"].partition(":")[0] for entry in entries(feed_of(anna, "matters"))} == {"North field <&>"}


def test_nothing_open_is_a_feed_without_entries(northfield, anna):
    assert entries(feed_of(anna, "matters")) == []
