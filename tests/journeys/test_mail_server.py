"""A mail server that is away, refuses, or answers slowly: real SMTP throughout, only the clock is moved."""

import asyncio
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from aiosmtpd.controller import Controller
from django.db.models import Count

from alerts.delivery import outbox
from alerts.models import CheckRun, Digest
from alerts.models.check import RunState
from farms.models import Farm, Group, Membership, Region, User
from farms.models.access import FarmRole
from server.celery import app
from server.demo.processes import free_port, start_mail
from tests.alerts.scene import check_time, monday
from tests.cast import NOW, as_factory, as_role, make_farm, make_user
from tests.journeys.world import World, world
from tests.patience import wait_until
from tests.yardstick import slowness

MINUTE = timedelta(minutes=1)
SIX_HOURS = 360  # minutes


def valley(name: str, owners: int) -> Farm:
    """A group of its own with a farm of so many owners, each of whom has a mail waiting."""
    slug = name.lower()
    with as_factory():
        group = Group.objects.create(name=name, slug=slug, time_zone="America/Chicago")
        region = Region.objects.create(group=group, name=name, slug=slug)
    first, *others = [make_user(f"{name}{number}") for number in range(owners)]
    farm = make_farm(f"{name} Farm", region, first)
    with as_factory():
        Membership.objects.bulk_create(
            Membership(farm=farm, user=owner, role=FarmRole.OWNER, began_at=NOW) for owner in others
        )
        Digest.objects.bulk_create(waiting_mail(farm, owner) for owner in (first, *others))
    return farm


def waiting_mail(farm: Farm, owner: User) -> Digest:
    return Digest(
        farm=farm, recipient=owner, occasion="2026-W22", language="en", subject="A week", text="Cards: 118.",
        html="<p>Cards: 118.</p>", queued_at=NOW, next_try_at=NOW,
    )  # fmt: skip


def states(farm: Farm) -> dict[str, int]:
    with as_factory():
        rows = Digest.objects.filter(farm=farm).values("state").annotate(mails=Count("occasion"))
        return {row["state"]: row["mails"] for row in rows}


@dataclass
class Server:
    """An SMTP server that answers each command as it is told, and counts what it was asked and took."""

    answers: dict[str, str] = field(default_factory=dict)  # command -> answer in place of a yes
    refused: str = ""  # an address that it doesn't know
    slow: str = ""  # what an address begins with for which it takes its time
    asked: Counter[str] = field(default_factory=Counter)
    taken: Counter[str] = field(default_factory=Counter)
    in_hand: int = 0  # slow ones before it at once
    most_in_hand: int = 0

    async def handle_MAIL(self, server: Any, session: Any, envelope: Any, address: str, options: Any) -> str:  # noqa: N802 - aiosmtpd's
        envelope.mail_from = address
        return self.answers.get("MAIL", "250 Fine")

    async def handle_RCPT(self, server: Any, session: Any, envelope: Any, address: str, options: Any) -> str:  # noqa: N802 - aiosmtpd's
        self.asked[address] += 1
        if address == self.refused:
            return "550 5.1.1 No such user"
        if self.slow and address.startswith(self.slow):
            self.in_hand += 1
            self.most_in_hand = max(self.most_in_hand, self.in_hand)
            await asyncio.sleep(2)
            self.in_hand -= 1
        envelope.rcpt_tos.append(address)
        return self.answers.get("RCPT", "250 Fine")

    async def handle_DATA(self, server: Any, session: Any, envelope: Any) -> str:  # noqa: N802 - aiosmtpd's
        if "DATA" not in self.answers:
            self.taken.update(envelope.rcpt_tos)
        return self.answers.get("DATA", "250 Taken")


@pytest.fixture
def server(settings: Any) -> Server:
    """What answers at the address to which Django sends."""
    settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
    settings.EMAIL_HOST, settings.EMAIL_PORT = "127.0.0.1", free_port(0)
    return Server()


@pytest.fixture
def switch(server: Server, settings: Any) -> Iterator[Callable[[], None]]:
    """Puts the server up."""
    controller = Controller(server, hostname="127.0.0.1", port=settings.EMAIL_PORT)
    started = []

    def up() -> None:
        controller.start()
        started.append(controller)

    yield up
    for each in started:
        each.stop()


def ring(now: datetime) -> None:
    """As beat and the workers do: for each group that has something to send."""
    with as_role("worker"):
        for group_id in sorted(outbox.groups_with_mail(now)):
            outbox.send_due(now, group_id)


@pytest.mark.django_db
class TestAwayForSixHours:
    @pytest.mark.parametrize(
        "fault",
        [
            {},  # nobody listens
            {"MAIL": "421 4.3.2 Shutting down"},
            {"RCPT": "451 4.3.0 Try again later"},
            {"DATA": "452 4.3.1 Disk full"},
        ],
        ids=["nobody listens", "shutting down", "try later", "disk full"],
    )
    def test_all_is_sent_once_within_thirty_minutes_of_its_return(
        self, server: Server, switch: Callable[[], None], fault: dict[str, str]
    ):
        farms = [valley("Alder", 12), valley("Birch", 3)]
        server.answers = fault
        if fault:
            switch()
        for minute in range(0, SIX_HOURS, 3):
            ring(NOW + minute * MINUTE)
        assert [states(farm) for farm in farms] == [{"queued": 12}, {"queued": 3}]
        if not fault:
            switch()
        server.answers = {}
        for minute in range(30):
            ring(NOW + (SIX_HOURS + minute) * MINUTE)
        assert [states(farm) for farm in farms] == [{"sent": 12}, {"sent": 3}]
        assert set(server.taken.values()) == {1} and len(server.taken) == 15


@pytest.mark.django_db
def test_an_address_that_is_refused_for_good_is_asked_for_once(server: Server, switch: Callable[[], None]):
    # RFC 5321, section 4.2.1: 5yz is a permanent negative completion reply, and is not to be repeated as it is.
    farm = valley("Alder", 3)
    server.refused = "alder1@example.org"
    switch()
    for hour in range(24 * 7):
        ring(NOW + timedelta(hours=hour))
    assert states(farm) == {"sent": 2, "refused": 1}
    assert server.asked[server.refused] == 1
    with as_factory():
        assert "550 5.1.1" in Digest.objects.get(state="refused").error


@pytest.mark.django_db(transaction=True, databases="__all__")
class TestSlow:
    @pytest.fixture
    def slow_world(self, tmp_path: Path) -> Iterator[tuple[World, Server]]:
        """Every process once, and mail twice; the server takes two seconds for whoever is of the slow group."""
        server = Server(slow="slow")
        with world(tmp_path, server) as made:
            start_mail(made.processes, "mail-too")
            made.at(check_time(monday(0)))
            yield made, server

    def test_servers_of_one_groups_people_hold_up_neither_another_groups_mail_nor_a_check(
        self, slow_world: tuple[World, Server]
    ):
        made, server = slow_world
        made.at(NOW)
        slow, quick, times = valley("Slow", 100), valley("Quick", 20), slowness()
        for _ in range(6):  # three beats, twice: each would be enough to keep one of the two processes busy
            app.send_task("alerts.tasks.send_due_mail")
        app.send_task("alerts.tasks.check_due_groups")
        wait_until(lambda: states(quick).get("sent") == 20, "the quick group's mails are sent", seconds=40 * times)
        wait_until(
            lambda: CheckRun.objects.filter(group_id=quick.group_id, state=RunState.DONE).exists(),
            "the quick group's week is judged", seconds=40 * times,
        )  # fmt: skip
        # A hundred mails at two seconds each: one process had them in hand all the time, and only one.
        wait_until(lambda: states(slow).get("sending") == 1, "a slow mail is in hand", seconds=20 * times)
        wait_until(lambda: server.taken.total() > 20, "a slow mail is taken", seconds=20 * times)
        assert states(slow)["queued"] > 0
        assert server.most_in_hand == 1
