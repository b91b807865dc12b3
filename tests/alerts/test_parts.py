"""One mail an owner: the digests of one person and week go out as one message with a part for each farm."""

import re
import smtplib
from collections.abc import Callable, Sequence
from datetime import timedelta
from email import message_from_bytes, policy
from email.message import EmailMessage
from urllib.parse import urlsplit

import pytest
from django.core import mail as django_mail
from django.core.mail.backends.locmem import EmailBackend
from django.test import Client

from alerts.delivery import outbox, parts
from alerts.delivery.digest import queue_digests
from alerts.models import Digest, DigestChoice
from farms.models import Farm, Group, Membership, Region, User
from farms.models.access import FarmRole
from monitoring.models import Station
from tests.alerts.scene import check, check_time, count_week, monday
from tests.cast import NOW, as_factory, as_role, make_facility, make_farm, make_stations

pytestmark = pytest.mark.django_db
WEEK = monday(12)  # the week of June 29
MONDAY = check_time(WEEK)


def make_counted(name: str, region: Region, owner: User, specks: int) -> Farm:
    """A farm of five cards, each with so many specks this week."""
    farm = make_farm(name, region, owner)
    barn = make_facility(farm, "Calf barn", "calf_barn", 1)
    count_week(make_stations(barn, "card", range(1, 6)), WEEK, [specks] * 5)
    return farm


@pytest.fixture
def hers(northfield: Farm, region: Region, anna: User, cards: list[Station], group: Group) -> list[Farm]:
    """Anna's two farms, Northfield quiet at 37 specks and Sorrel Flats over its level at 311; and the week judged."""
    count_week(cards, WEEK, [37] * 5)
    farms = [northfield, make_counted("Sorrel Flats", region, anna, 311)]
    check(group, WEEK)
    return farms


def write(group: Group, farms: Sequence[Farm]) -> None:
    with as_role("worker"):
        queue_digests(group, farms, week=WEEK, now=MONDAY)


def send(now=MONDAY) -> dict[str, int]:
    with as_role("worker"):
        return dict(outbox.send_due(now))


def sent() -> list[EmailMessage]:
    messages = [message_from_bytes(each.message().as_bytes(), policy=policy.default) for each in django_mail.outbox]
    assert all(isinstance(each, EmailMessage) for each in messages)
    return messages  # type: ignore[return-value]


def stored() -> list[Digest]:
    with as_factory():
        return list(Digest.objects.order_by("farm__name"))


def body(message: EmailMessage, kind: str) -> str:
    part = message.get_body((kind,))
    assert part is not None
    return str(part.get_content())


class TestOneMail:
    def test_an_owner_of_two_farms_gets_one_with_the_most_pressing_first(self, group: Group, hers: list[Farm]):
        write(group, hers)
        assert send() == {"sent": 1}
        (message,) = sent()
        assert message["Subject"] == (
            "Sorrel Flats: cards over your action level; Northfield: below your action levels, week of June 29"
        )
        for kind in ("plain", "html"):
            told = body(message, kind)
            assert re.findall(r"(37|311) specks a card", told) == ["311", "37"], kind

    def test_each_part_has_its_own_picture_under_its_own_id(self, group: Group, hers: list[Farm]):
        write(group, hers)
        send()
        (message,) = sent()
        named = re.findall(r'src="cid:([^"]+)"', body(message, "html"))
        _alternatives, *pictures = message.iter_parts()
        assert [f"<{each}>" for each in named] == [picture["Content-ID"] for picture in pictures]
        assert len(set(named)) == 2
        rows = {row.farm_id: bytes(row.picture) for row in stored()}
        assert [picture.get_content() for picture in pictures] == [rows[hers[1].id], rows[hers[0].id]]

    def test_each_part_links_its_own_farm_and_the_caution_stands_once(self, group: Group, hers: list[Farm]):
        write(group, hers)
        send()
        (message,) = sent()
        for kind in ("plain", "html"):
            told = " ".join(body(message, kind).split())
            assert [str(farm.id) in told for farm in hers] == [True, True]
            assert told.count("licensed people decide") == 1
            assert told.count("as an owner of Northfield") == told.count("as an owner of Sorrel Flats") == 1

    def test_five_farms_are_one_mail_too(self, group: Group, region: Region, anna: User, hers: list[Farm]):
        more = [make_counted(f"Farm {number}", region, anna, 20 + number) for number in range(3)]
        with as_role("worker"):
            queue_digests(group, [*hers, *more], week=WEEK, now=MONDAY)
        assert send() == {"sent": 1}
        (message,) = sent()
        assert message["Subject"] == "Sorrel Flats: cards over your action level; and 4 more farms, week of June 29"
        assert body(message, "html").count("<h1") == 5

    def test_it_is_in_the_owners_language(self, group: Group, region: Region, ben: User, hers: list[Farm]):
        with as_factory():
            Membership.objects.filter(user=ben).update(role=FarmRole.OWNER)
            Membership.objects.create(farm=hers[1], user=ben, role=FarmRole.OWNER, began_at=NOW)
        write(group, hers)
        send()
        (message,) = [each for each in sent() if each["To"] == "ben@example.org"]
        assert message["Content-Language"] == "es"
        assert message["Subject"].strip().startswith("Sorrel Flats: tarjetas sobre su nivel de acción; Northfield: ")

    def test_two_owners_of_one_farm_each_read_their_own_farms_only(
        self, group: Group, region: Region, carla: User, hers: list[Farm]
    ):
        with as_factory():
            Membership.objects.create(farm=hers[0], user=carla, role=FarmRole.OWNER, began_at=NOW)
        windy = make_counted("Windy Lea", region, carla, 73)
        write(group, [*hers, windy])
        assert send() == {"sent": 2}
        numbers = {
            message["To"]: set(re.findall(r"\b(37|311|73)\b specks", body(message, "html"))) for message in sent()
        }
        assert numbers["anna@example.org"] == {"37", "311"}
        assert "311" not in numbers["carla@example.org"]


class TestTogether:
    def test_what_became_of_it_is_recorded_on_every_row(self, group: Group, hers: list[Farm]):
        write(group, hers)
        send()
        assert [(row.state, row.sent_at, row.attempts) for row in stored()] == [("sent", MONDAY, 1)] * 2
        assert send(MONDAY + timedelta(days=1)) == {}

    def test_two_workers_claim_it_once(self, group: Group, hers: list[Farm]):
        write(group, hers)
        with as_role("worker"):
            first, second = outbox.due(MONDAY)
            assert len(outbox.claim_whole(first, MONDAY)) == 2
            assert outbox.claim_whole(second, MONDAY) == []

    def test_it_has_one_message_id_when_its_worker_died_after_sending(
        self, group: Group, hers: list[Farm], monkeypatch: pytest.MonkeyPatch
    ):
        write(group, hers)
        with monkeypatch.context() as patched:
            patched.setattr(outbox, "_record", lambda *args, **columns: "sent")
            send()
        send(MONDAY + outbox.LEASE)
        first, again = sent()
        assert first["Message-ID"] == again["Message-ID"]

    def test_a_fault_puts_it_off_as_a_whole(self, group: Group, hers: list[Farm], monkeypatch: pytest.MonkeyPatch):
        def busy(self: EmailBackend, messages: object) -> int:
            raise smtplib.SMTPDataError(451, b"try later")

        write(group, hers)
        with monkeypatch.context() as patched:
            patched.setattr(EmailBackend, "send_messages", busy)
            assert send() == {"queued": 1}
        assert {row.next_try_at for row in stored()} == {MONDAY + outbox.FIRST_PAUSE}
        assert send(MONDAY + outbox.FIRST_PAUSE) == {"sent": 1}
        assert len(sent()) == 1


class TestLeftOutAndLate:
    def test_a_farm_that_she_left_meanwhile_is_left_out(self, group: Group, hers: list[Farm], anna: User):
        write(group, hers)
        with as_factory():
            Membership.objects.filter(user=anna, farm=hers[1]).update(ended_at=NOW)
        assert send() == {"sent": 1}
        (message,) = sent()
        assert "Sorrel Flats" not in body(message, "plain") + body(message, "html")
        assert len(list(message.iter_parts())) == 2  # what is said, and Northfield's picture
        assert message["Subject"] == "Northfield: below your action levels, week of June 29"
        assert [row.state for row in stored()] == ["sent", "refused"]

    def test_a_part_that_comes_late_goes_as_its_own_mail(self, group: Group, hers: list[Farm]):
        write(group, hers[:1])
        send()
        write(group, hers)
        assert send(MONDAY + timedelta(hours=1)) == {"sent": 1}
        assert [message["Subject"].partition(":")[0] for message in sent()] == ["Northfield", "Sorrel Flats"]

    def test_another_weeks_mail_that_still_waits_is_not_mixed_in(
        self, group: Group, hers: list[Farm], northfield: Farm
    ):
        write(group, hers)
        check(group, monday(13))
        with as_role("worker"):
            queue_digests(group, [northfield], week=monday(13), now=MONDAY)
        assert send() == {"sent": 2}

    def test_rows_written_before_there_were_parts_go_one_by_one(
        self, group: Group, hers: list[Farm], anna: User, old: Callable[[Farm], Digest]
    ):
        for farm in hers:
            old(farm)
        assert send() == {"sent": 2}

    @pytest.fixture
    def old(self, anna: User) -> Callable[[Farm], Digest]:
        def made(farm: Farm) -> Digest:
            with as_factory():
                return Digest.objects.create(
                    farm=farm, recipient=anna, occasion="2026-W27", language="en", subject=farm.name, text="37",
                    html="<p>37</p>", queued_at=NOW, next_try_at=NOW,
                )  # fmt: skip

        return made


class TestTheWayOut:
    """One click stops what one message holds: all of it, and of one farm's mail that farm's."""

    def one_click(self, message: EmailMessage) -> None:
        address = urlsplit(message["List-Unsubscribe"].strip().strip("<>")).path
        assert Client().post(address, {"List-Unsubscribe": "One-Click"}).status_code == 200

    def stopped(self) -> set[str]:
        with as_factory():
            return {row.farm.name for row in DigestChoice.objects.filter(how_often="none").select_related("farm")}

    def test_of_a_joined_mail_stops_both_parts(self, group: Group, hers: list[Farm]):
        write(group, hers)
        send()
        (message,) = sent()
        self.one_click(message)
        assert self.stopped() == {"Northfield", "Sorrel Flats"}

    def test_of_a_joined_mail_stops_no_farm_that_was_not_in_it(
        self, group: Group, region: Region, anna: User, hers: list[Farm]
    ):
        """Windy Lea's mail comes on another day, and she bought Clearbrook after this one came."""
        write(group, hers)
        send()
        (message,) = sent()
        for name in ("Windy Lea", "Clearbrook"):
            make_farm(name, region, anna)
        self.one_click(message)
        assert self.stopped() == {"Northfield", "Sorrel Flats"}

    def test_more_farms_than_an_address_can_name_are_two_messages_each_with_its_own(
        self, group: Group, region: Region, anna: User, hers: list[Farm], monkeypatch: pytest.MonkeyPatch
    ):
        monkeypatch.setattr(parts, "MOST_PARTS", 2)
        write(group, [*hers, make_counted("Windy Lea", region, anna, 73)])
        assert send() == {"sent": 2}
        joined, single = sent()
        self.one_click(single)
        assert self.stopped() == {"Windy Lea"} and "Windy Lea" in single["Subject"]
        self.one_click(joined)
        assert self.stopped() == {"Northfield", "Sorrel Flats", "Windy Lea"}

    def test_of_one_farms_mail_stops_that_one(self, group: Group, hers: list[Farm]):
        write(group, hers[:1])
        send()
        (message,) = sent()
        self.one_click(message)
        assert self.stopped() == {"Northfield"}

    def test_a_part_that_is_not_wanted_is_left_out(self, group: Group, hers: list[Farm], anna: User):
        with as_factory():
            DigestChoice.objects.create(farm=hers[0], recipient=anna, how_often="none", chosen_at=MONDAY, way="page")
        write(group, hers)
        send()
        (message,) = sent()
        assert "Sorrel Flats" in message["Subject"] and "Northfield" not in message.as_string()
        with as_factory():
            assert set(Digest.objects.values_list("farm__name", "state")) == {
                ("Northfield", "unwanted"), ("Sorrel Flats", "sent"),
            }  # fmt: skip
