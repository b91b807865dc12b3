"""The weekly run under kill -9, an emptied broker and a restarted PostgreSQL: nothing lost, nothing doubled.

Real servers and processes. Only waiting for a lease is passed over, by the clock that the service reads.
"""

import random
import signal
import subprocess
import time
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from aiosmtpd.controller import Controller
from django.db import OperationalError, connections

from farms.models import Group
from server.demo.clockwork import set_clock
from server.demo.processes import Processes, free_port, running
from tests.alerts.scene import check_time, monday
from tests.journeys.crashes import (
    EndState,
    Mailroom,
    attempts,
    end_state,
    in_peace,
    make_valley,
    runs_left,
    waits_for_time,
)
from tests.journeys.own_servers import OwnServers, own_servers

MINUTE = timedelta(minutes=1)
FIRST_WEEKS = 6  # judged in peace in both groups, so that trends are known
WITHIN = 15  # minutes from recovery to the end
FULL = {"kill": 50, "flush": 10, "restart": 10}


@dataclass
class Trouble:
    """The service's worker, whoever disturbs it, and the clock of both."""

    servers: OwnServers
    processes: Processes
    clock: Path
    mailroom: Mailroom
    group: Group
    now: datetime
    drawn: random.Random
    worker: subprocess.Popen[bytes] | None = None
    done: Counter[str] = field(default_factory=Counter)
    minutes: list[float] = field(default_factory=list)

    def start_worker(self) -> None:
        self.worker = self.processes.start(
            "worker", "celery", "-A", "server.celery", "worker", "-Q", "checks,mail,celery", "--pool", "solo",
            "--loglevel", "INFO", "--without-gossip", "--without-mingle", DATABASE_ROLE="worker",
        )  # fmt: skip

    def pass_time(self, minutes: int) -> None:
        self.now += minutes * MINUTE
        set_clock(self.clock, self.now)

    def ring(self) -> None:
        """As beat does every minute."""
        for task in ("check_due_groups", "send_due_mail"):
            self.servers.ring(f"alerts.tasks.{task}")

    def disturb(self, what: str) -> None:
        if what == "kill":
            assert self.worker is not None
            self.worker.send_signal(signal.SIGKILL)
            self.worker.wait()
            self.processes.started.remove(self.worker)
            self.start_worker()
        elif what == "flush":
            self.servers.flush_broker()
        else:
            self.servers.restart_postgres(self.drawn.choice([signal.SIGINT, signal.SIGQUIT]))
            connections.close_all()
        self.done[what] += 1


@pytest.fixture
def trouble(tmp_path: Path, django_db_blocker: Any) -> Iterator[Trouble]:
    mailroom = Mailroom()
    smtp = Controller(mailroom, hostname="127.0.0.1", port=free_port(0))
    smtp.start()
    try:
        with django_db_blocker.unblock(), own_servers() as servers:
            environment = servers.environment | {
                "CLOCK_FILE": str(tmp_path / "clock"), "EMAIL_URL": f"smtp://127.0.0.1:{smtp.port}",
                "DJANGO_SETTINGS_MODULE": "server.settings", "PYTHONPATH": str(Path(__file__).resolve().parents[2]),
            }  # fmt: skip
            with running(tmp_path / "logs", environment) as processes:
                group = Group()
                yield Trouble(
                    servers,
                    processes,
                    tmp_path / "clock",
                    mailroom,
                    group,
                    check_time(monday(0)),
                    random.Random(7),  # noqa: S311 - the same moments each time
                )
    finally:
        smtp.stop()


def patiently(look: Callable[[], Any]) -> Any:
    """An answer of PostgreSQL, also while it comes back."""
    while True:
        try:
            return look()
        except OperationalError:
            connections.close_all()
            time.sleep(0.05)


def until_at_work(trouble: Trouble, week: date) -> bool:
    """Ring until the worker has begun with something. False: there is nothing left to begin."""
    before, deadline = patiently(lambda: attempts(trouble.group, week)), time.monotonic() + 90
    while patiently(lambda: attempts(trouble.group, week)) == before:
        if not patiently(lambda: runs_left(trouble.group, week)):
            return False
        assert time.monotonic() < deadline, "The worker has begun with nothing."
        trouble.ring()
        _wait(lambda: patiently(lambda: attempts(trouble.group, week)) != before)
    return True


def finish(trouble: Trouble, week: date) -> None:
    """Ring until the week's run has come to its end, and let minutes pass only where something waits for its hour."""
    deadline = time.monotonic() + 180
    while patiently(lambda: runs_left(trouble.group, week)):
        assert time.monotonic() < deadline, "The week does not come to its end."
        trouble.ring()
        _wait(lambda: not patiently(lambda: runs_left(trouble.group, week)))
        if patiently(lambda: waits_for_time(trouble.group, week, trouble.now)):
            trouble.pass_time(1)


def _wait(until: Callable[[], bool]) -> None:
    """A second, or less where what is waited for has come."""
    deadline = time.monotonic() + 1
    while time.monotonic() < deadline and not until():
        time.sleep(0.05)


def a_week(trouble: Trouble, week: date, length: float, waiting: list[str]) -> None:
    """One week's run, disturbed up to three times at random moments of it, until it has come to its end.

    Notes how long that took after the last disturbance: minutes that the clock was moved, and those that passed.
    """
    recovered, began = trouble.now, time.monotonic()
    for _ in range(3):
        if not waiting or not until_at_work(trouble, week):
            break
        time.sleep(trouble.drawn.uniform(0, length))
        if not patiently(lambda: runs_left(trouble.group, week)):
            break
        trouble.disturb(waiting.pop())
        recovered, began = trouble.now, time.monotonic()
        # Over the leases of whoever was killed, and the pause after a fault.
        trouble.pass_time(6)
    finish(trouble, week)
    trouble.minutes.append((trouble.now - recovered) / MINUTE + (time.monotonic() - began) / 60)


def compare(left: EndState, right: EndState) -> None:
    for what in EndState.__dataclass_fields__:
        assert getattr(left, what) == getattr(right, what), what


@pytest.mark.parametrize(
    ("farms", "times"),
    [
        (24, {"kill": 10, "flush": 2, "restart": 2}),
        pytest.param(48, FULL, marks=pytest.mark.full),
    ],
    ids=["short", "full"],
)
def test_what_is_killed_emptied_and_restarted_loses_and_doubles_nothing(
    trouble: Trouble, farms: int, times: dict[str, int], record_property: Callable[[str, object], None]
):
    waiting = [what for what, number in times.items() for _ in range(number)]
    trouble.drawn.shuffle(waiting)
    weeks = FIRST_WEEKS + len(waiting) + 2
    calm, trouble.group = make_valley("Calm", farms, weeks), make_valley("Wild", farms, weeks)
    begun = check_time(monday(FIRST_WEEKS - 1))
    for group in (calm, trouble.group):
        assert len(in_peace(group, begun, sent=True)) == FIRST_WEEKS
    trouble.start_worker()
    number, length = FIRST_WEEKS, 0.0
    while waiting:
        week = monday(number)
        # Before the clock is moved, or the worker would be the first to find it due.
        assert in_peace(calm, check_time(week), sent=True) == [week]
        trouble.now = check_time(week)
        trouble.pass_time(0)
        if not length:
            length = undisturbed(trouble, week)
        else:
            a_week(trouble, week, length, waiting)
        compare(end_state(trouble.group), end_state(calm))
        number += 1
    assert dict(trouble.done) == times
    told = end_state(calm)
    assert not told.broken_chains and told.alerts and told.lists and told.reports
    assert trouble.mailroom.twice <= times["kill"]
    assert max(trouble.minutes) <= WITHIN
    for what, count in times.items():
        record_property(f"asked crash: {what}", count)
    record_property("asked crash: alerts compared", len(told.alerts))
    record_property("asked crash: mails compared", len(told.mails))
    record_property("asked crash: mails taken twice", trouble.mailroom.twice)


def undisturbed(trouble: Trouble, week: date) -> float:
    """The seconds that a run takes where nobody disturbs it."""
    assert until_at_work(trouble, week)
    began = time.monotonic()
    finish(trouble, week)
    return time.monotonic() - began
