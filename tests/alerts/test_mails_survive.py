"""A mail as other programs take it apart: Python's own parser of RFC 5322, 2045 to 2047 and 2387 reads every message.

What is asked of it is published: a line has 998 characters at most (RFC 5322, 2.1.1), alternatives stand with the
plainest first (RFC 2046, 5.1.4), a picture beside the HTML has a Content-ID that the HTML names (RFC 2392).
"""

import re
from datetime import UTC, datetime
from email import message_from_bytes, policy
from email.message import EmailMessage
from email.utils import parsedate_to_datetime
from html.parser import HTMLParser

import pytest
from django.core import mail as django_mail

from alerts.delivery import outbox
from alerts.delivery.digest import queue_digests
from alerts.delivery.monday_list import queue_monday_lists
from alerts.models import Digest
from farms.models import Farm, Group, Membership, Region, User
from farms.models.access import FarmRole
from monitoring.charts import DARK, LIGHT
from monitoring.models import Station
from tests.alerts.scene import check, check_time, count_week, monday
from tests.cast import as_factory, as_role, make_facility, make_farm, make_stations

pytestmark = pytest.mark.django_db
WEEK = monday(12)  # the week of June 29
MONDAY = check_time(WEEK)
NORTHFIELDS, WINDY_LEAS = "317", "463"  # specks a card: no other figure of a mail looks like these
LONG = "Hof zum langen Ñandú, " * 5


@pytest.fixture
def judged(group: Group, region: Region, northfield: Farm, cards: list[Station], carla: User) -> tuple[Farm, Farm]:
    """Anna's Northfield and Carla's Windy Lea, each with a mean that only it has."""
    other = make_farm("Windy Lea", region, carla)
    barn = make_facility(other, "Heifer shed", "heifer_barn", 1)
    theirs = make_stations(barn, "card", range(1, 6))
    for number in (11, 12):
        last = number == 12
        count_week(cards, monday(number), [int(NORTHFIELDS) if last else 30 + number] * 5)
        count_week(theirs, monday(number), [int(WINDY_LEAS) if last else 50 + number] * 5)
        check(group, monday(number))
    return northfield, other


@pytest.fixture
def sent(group: Group, judged: tuple[Farm, Farm], anna: User, ben: User) -> dict[str, EmailMessage]:
    """Each reader's mail as it leaves: Anna's and Ben's digests (he reads Spanish), Carla's, and Dana's list."""
    with as_factory():
        Membership.objects.filter(user=ben).update(role=FarmRole.OWNER)
    with as_role("worker"):
        queue_digests(group, judged, week=WEEK, now=MONDAY)
        queue_monday_lists(group, week=WEEK, now=MONDAY)
        outbox.send_due(MONDAY)
    raw = [each.message().as_bytes(linesep="\r\n") for each in django_mail.outbox]
    messages = [message_from_bytes(each, policy=policy.default) for each in raw]
    found = {str(each["To"]): each for each in messages if isinstance(each, EmailMessage)}
    assert sorted(found) == [f"{name}@example.org" for name in ("anna", "ben", "carla", "dana")]
    return found


def body(message: EmailMessage, kind: str) -> str:
    part = message.get_body((kind,))
    assert part is not None
    return str(part.get_content())


def tells(text: str, number: str) -> bool:
    """Whether a number stands in a text by itself, and not within an id."""
    return re.search(rf"\b{number}\b", text) is not None


class Tags(HTMLParser):
    """Every tag with its attributes."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.found: list[tuple[str, dict[str, str | None]]] = []
        self.feed(html)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.found.append((tag, dict(attrs)))

    def named(self, *names: str) -> list[dict[str, str | None]]:
        return [given for tag, given in self.found if tag in names]


class TestEveryMail:
    def test_its_headers_are_there_once_and_its_parts_have_no_defects(self, sent):
        for message in sent.values():
            for name in ("From", "To", "Subject", "Date", "Message-ID", "MIME-Version", "Content-Language"):
                assert len(message.get_all(name)) == 1, name
            assert message["Auto-Submitted"] == "auto-generated"  # RFC 3834: no answer by machines
            assert [part.defects for part in message.walk()] == [[] for _part in message.walk()]
            assert parsedate_to_datetime(str(message["Date"])) == MONDAY

    def test_the_plainest_alternative_comes_first_and_the_picture_beside_them(self, sent):
        for message in sent.values():
            assert [part.get_content_type() for part in message.walk()] == [
                "multipart/related", "multipart/alternative", "text/plain", "text/html", "image/png",
            ]  # fmt: skip
            assert {part.get_content_charset() for part in message.walk() if part.get_content_maintype() == "text"} == {
                "utf-8"
            }

    def test_no_line_is_longer_than_the_standard_allows(self, sent):
        for message in django_mail.outbox:
            raw = message.message().as_bytes(linesep="\r\n")
            assert max(len(line) for line in raw.split(b"\r\n")) <= 998

    def test_every_picture_is_inside_named_by_its_id_and_told_in_words(self, sent):
        for message in sent.values():
            pictures = Tags(body(message, "html")).named("img")
            inside = {
                str(part["Content-ID"]): part for part in message.walk() if part.get_content_maintype() == "image"
            }
            assert {f"<{str(each['src']).removeprefix('cid:')}>" for each in pictures} == set(inside)
            assert all(part.get_content_disposition() == "inline" for part in inside.values())
            assert all(len(str(each["alt"])) > 40 for each in pictures)

    def test_nothing_is_loaded_from_outside_and_nothing_runs(self, sent):
        for message in sent.values():
            html = body(message, "html")
            tags = Tags(html)
            assert tags.named("script", "link", "iframe", "object", "embed", "form", "base", "svg") == []
            assert [name for _tag, given in tags.found for name in given if name.startswith("on")] == []
            assert re.findall(r"url\(|@import|@font-face|srcset|background=", html) == []
            assert all(str(each["href"]).startswith("http://127.0.0.1:8000/") for each in tags.named("a"))

    def test_light_stands_inline_and_dark_is_paper_and_ink_turned_round(self, sent):
        for message in sent.values():
            html = body(message, "html")
            assert '<meta name="color-scheme" content="light dark">' in html
            light = re.sub(r"<style>.*?</style>", "", html, flags=re.DOTALL)
            dark = re.findall(r"<style>(.*?)</style>", html, re.DOTALL)
            assert len(dark) == 1 and "prefers-color-scheme:dark" in dark[0]
            assert f".paper{{background-color:{DARK.paper}!important;}}" in dark[0]
            assert f".ink{{color:{DARK.ink}!important;}}" in dark[0]
            # The chart is drawn on light paper, and keeps a sheet of it around it.
            assert f"background-color:{LIGHT.paper}!important" in dark[0]
            assert LIGHT.paper in light and DARK.paper not in light
            # Whatever has a colour inline has a name by which dark finds it.
            coloured = [given for _tag, given in Tags(html).found if "color:" in (given.get("style") or "")]
            assert [given for given in coloured if not given.get("class")] == []

    def test_the_plain_text_stands_by_itself(self, sent):
        for message in sent.values():
            text = body(message, "plain")
            assert "cid:" not in text and "<" not in text
            assert re.search(r"https?://127\.0\.0\.1:8000/\S+", text)
            assert max(len(line) for line in text.splitlines() if "http" not in line) <= 76

    def test_it_is_in_its_readers_language_throughout(self, sent):
        for reader, message in sent.items():
            language = "es" if reader.startswith("ben") else "en"
            assert message["Content-Language"] == language
            assert Tags(body(message, "html")).named("html") == [{"lang": language}]


class TestWhoseNumbers:
    def test_no_owners_mail_holds_a_number_of_another_farm(self, sent):
        for reader, own, others in (
            ("anna@example.org", NORTHFIELDS, WINDY_LEAS),
            ("ben@example.org", NORTHFIELDS, WINDY_LEAS),
            ("carla@example.org", WINDY_LEAS, NORTHFIELDS),
        ):
            told = body(sent[reader], "plain") + body(sent[reader], "html") + str(sent[reader]["Subject"])
            assert tells(told, own), reader
            assert not tells(told, others), reader
            assert ("Windy Lea" in told) == (own == WINDY_LEAS), reader

    def test_the_advisers_list_has_only_the_farm_that_let_her_in(self, sent):
        told = body(sent["dana@example.org"], "plain") + body(sent["dana@example.org"], "html")
        assert tells(told, NORTHFIELDS)
        assert not tells(told, WINDY_LEAS) and "Windy Lea" not in told


class TestWhenItIs:
    def test_days_are_the_farms_own_and_not_the_groups(self, group: Group, region: Region, carla: User):
        """At 03:00 UTC on Tuesday it is Tuesday in Madrid and still Monday in Chicago, where the group is."""
        far = make_farm("Vega Alta", region, carla, time_zone="Europe/Madrid")
        near = make_farm("Windy Lea", region, carla)
        with as_role("worker"):
            queue_digests(group, [near, far], week=WEEK, now=datetime(2026, 7, 7, 3, tzinfo=UTC))
        with as_factory():
            texts = {row.farm_id: " ".join(row.text.split()) for row in Digest.objects.all()}
        # The season opened on April 6, and nobody ever walked a round.
        assert "No round for 91 days." in texts[near.id]
        assert "No round for 92 days." in texts[far.id]


def test_a_long_foreign_name_survives_headers_and_lines(group: Group, region: Region, carla: User):
    farm = make_farm(LONG.strip(", ")[:100], region, carla)
    with as_role("worker"):
        queue_digests(group, [farm], week=WEEK, now=MONDAY)
        outbox.send_due(MONDAY)
    (raw,) = [each.message().as_bytes(linesep="\r\n") for each in django_mail.outbox]
    message = message_from_bytes(raw, policy=policy.default)
    assert isinstance(message, EmailMessage)
    assert str(message["Subject"]).strip().startswith(farm.name)
    assert farm.name in " ".join(body(message, "plain").split())
    assert max(len(line) for line in raw.split(b"\r\n")) <= 998
