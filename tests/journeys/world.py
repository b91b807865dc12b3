"""What a whole way needs beside the cast: a web server, Celery workers, an SMTP server, all real, and a clock."""

import email
import email.policy
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import date, datetime
from email.message import EmailMessage
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import httpx
from aiosmtpd.controller import Controller

from alerts.models import CheckRun, Digest, MondayList
from alerts.models.check import RunState
from alerts.models.outbox import DeliveryState
from server.celery import app
from server.demo.clockwork import set_clock
from server.demo.processes import Processes, free_port, running, start_checks, start_hooks, start_mail, start_site
from tests.cast import as_factory
from tests.patience import wait_until

ZONE = ZoneInfo("America/Chicago")


@dataclass
class Mailbox:
    """An SMTP handler that keeps every mail it takes."""

    mails: list[EmailMessage] = field(default_factory=list)

    async def handle_DATA(self, server: Any, session: Any, envelope: Any) -> str:  # noqa: N802 - aiosmtpd's name
        message = email.message_from_bytes(envelope.content, policy=email.policy.default)
        assert isinstance(message, EmailMessage)
        self.mails.append(message)
        return "250 Taken"

    def to(self, address: str) -> list[EmailMessage]:
        return [mail for mail in self.mails if address in str(mail["To"])]


@dataclass
class World:
    """The running service, and the hands of a test in it."""

    site: str
    clock: Path
    mailbox: Mailbox
    processes: Processes

    def at(self, moment: datetime) -> None:
        set_clock(self.clock, moment)

    def program(self, key: str) -> httpx.Client:
        """A program with a token."""
        return httpx.Client(base_url=f"{self.site}/api/v1", headers={"Authorization": f"Bearer {key}"}, timeout=30)

    def judge(self, week: date, monday: datetime) -> None:
        """Move the clock to a Monday morning, ring the bell as beat does, wait until the week is judged and mailed."""
        self.at(monday)
        app.send_task("alerts.tasks.check_due_groups")
        wait_until(lambda: CheckRun.objects.filter(week=week, state=RunState.DONE).exists(), "the week is judged")
        app.send_task("alerts.tasks.send_due_mail")
        wait_until(lambda: not _waiting(), "the mails are sent")


def _waiting() -> bool:
    with as_factory():
        waiting = [DeliveryState.QUEUED, DeliveryState.SENDING]
        return any(model.objects.filter(state__in=waiting).exists() for model in (Digest, MondayList))


@contextmanager
def world(folder: Path, server: Any = None) -> Iterator[World]:
    """Start everything, with its files in `folder`; at the end stop what was started. `server` may take the mails."""
    mailbox = Mailbox()
    smtp = Controller(server or mailbox, hostname="127.0.0.1", port=free_port(0))
    smtp.start()
    port = free_port(0)
    environment = {
        "CLOCK_FILE": str(folder / "clock"),
        "EMAIL_URL": f"smtp://127.0.0.1:{smtp.port}",
        "SITE_URL": f"http://127.0.0.1:{port}",
        "DJANGO_SETTINGS_MODULE": "server.settings",
        "PYTHONPATH": str(Path(__file__).resolve().parents[2]),
    }
    set_clock(folder / "clock", datetime(2026, 4, 6, 12, tzinfo=ZONE))
    try:
        with running(folder / "logs", environment) as processes:
            start_site(processes, port)
            start_checks(processes)
            start_mail(processes)
            start_hooks(processes)
            yield World(f"http://127.0.0.1:{port}", folder / "clock", mailbox, processes)
    finally:
        smtp.stop()
