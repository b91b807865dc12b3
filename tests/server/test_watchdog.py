"""An outside watchdog hears of us only while every count matches. The servers here are real and count what they get."""

import json
import threading
import time
from collections.abc import Iterator
from datetime import datetime, timedelta
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from alerts.delivery import outbox
from alerts.models import Digest, MondayList, Ring, Running
from alerts.selectors.running import Allowed, Kind, off_in_group
from farms.ids import moment_of
from farms.models import Farm, Group, Season, User
from monitoring.models import Import
from server import checks, tasks, watchdog
from tests.alerts.scene import check_time, monday
from tests.alerts.test_running import break_for, owned, run_monday  # noqa: F401  owned is a fixture
from tests.cast import as_factory, as_role, make_user

HOUR = timedelta(hours=1)


class Dog(ThreadingHTTPServer):
    """A watchdog: answers with `code` after `pause` seconds, and remembers what was asked."""

    def __init__(self) -> None:
        super().__init__(("127.0.0.1", 0), Ear)
        self.heard: list[str] = []
        self.code, self.pause, self.to = 200, 0.0, ""

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.server_port}/an-invented-key"


class Ear(BaseHTTPRequestHandler):
    server: Dog

    def do_GET(self) -> None:
        self.server.heard.append(self.path)
        time.sleep(self.server.pause)
        self.send_response(self.server.code)
        if self.server.to:
            self.send_header("Location", self.server.to)
        self.end_headers()

    def log_message(self, *args: object) -> None:
        """Silent."""


@pytest.fixture
def dog(settings) -> Iterator[Dog]:
    server = Dog()
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    settings.WATCHDOG_URL, settings.WATCHDOG_MAY_BE_PLAIN = server.url, True
    yield server
    server.shutdown()
    server.server_close()
    thread.join()


@pytest.fixture
def at(standing_clock: Path):
    """Let the bell ring at a moment; what the log says of it."""

    def ring(moment: datetime) -> None:
        standing_clock.write_text(moment.isoformat())
        with as_role("worker"):
            tasks.watch()

    return ring


@pytest.fixture
def well(group: Group, owned: Farm) -> datetime:  # noqa: F811
    """A Monday that went well: judged, written, sent."""
    now = check_time(monday(0))
    run_monday(group, now)
    with as_role("worker"):
        outbox.send_due(now)
    return now


def said(caplog: pytest.LogCaptureFixture) -> list[str]:
    return [record.getMessage() for record in caplog.records if record.name == "server.watchdog"]


@pytest.mark.django_db
class TestCounts:
    def test_it_is_pinged_at_each_bell_while_all_is_well(self, dog: Dog, at, well: datetime, caplog):
        at(well)
        at(well + timedelta(minutes=1))
        assert dog.heard == ["/an-invented-key"] * 2
        assert not any("not pinged" in line for line in said(caplog))

    def test_a_week_that_is_late_silences_it_and_its_check_brings_it_back(
        self, dog: Dog, at, well: datetime, group: Group, caplog
    ):
        late = check_time(monday(1)) + 2 * HOUR
        at(late)
        (line,) = said(caplog)
        assert f"a week of group {group.id} is due since 150 min and not judged" in line and "\n" not in line
        assert dog.heard == []
        run_monday(group, late)
        with as_role("worker"):
            outbox.send_due(late)
        at(late)
        assert len(dog.heard) == 1

    def test_a_farm_that_was_forgotten(self, dog: Dog, at, well: datetime, group: Group, southmead: Farm, caplog):
        at(well)
        assert dog.heard == []
        assert f"of group {group.id} 1 of 2 farms are judged or set aside" in said(caplog)[0]

    def test_a_farm_that_was_set_aside_with_its_error_is_none_forgotten(
        self, dog: Dog, at, group: Group, owned: Farm, southmead: Farm, monkeypatch  # noqa: F811
    ):  # fmt: skip
        break_for(southmead, monkeypatch)
        now = check_time(monday(0))
        run_monday(group, now)
        at(now)
        assert len(dog.heard) == 1

    def test_a_mail_that_was_not_written(self, dog: Dog, at, well: datetime, group: Group, caplog):
        with as_factory():
            Digest.objects.all().delete()
        at(well)
        assert dog.heard == []
        assert f"of group {group.id} the mails of 0 of 1 farms are written" in said(caplog)[0]

    def test_a_mail_that_waits_too_long(self, dog: Dog, at, well: datetime, group: Group, caplog):
        with as_factory():
            Digest.objects.update(state="queued", queued_at=well)
        at(well + 7 * HOUR)
        assert len(dog.heard) == 1
        at(well + 7 * HOUR + timedelta(minutes=1))
        assert len(dog.heard) == 1
        assert f"of group {group.id} 1 mails wait, the oldest since 421 min" in said(caplog)[-1]

    @pytest.mark.parametrize("answer", ["SMTPRecipientsRefused 452 4.2.2", "SMTPDataError 452"])
    def test_a_mailbox_that_is_full_for_days_silences_nothing_while_the_others_mails_left(
        self, dog: Dog, at, well: datetime, group: Group, answer: str
    ):
        full = well + timedelta(days=3)
        with as_factory():
            Digest.objects.update(state="queued", queued_at=well, attempts=80, error=answer, next_try_at=full)
            self.add_sent(2, well)
        at(full)
        assert len(dog.heard) == 1
        row = Running.objects.get(group=group)
        assert (row.waiting, row.oldest_mail_at) == (1, None)

    def test_a_mail_between_mondays_that_is_alone_of_its_kind_is_held_against_the_week_before(
        self, dog: Dog, at, well: datetime
    ):
        with as_factory():
            self.add_sent(2, well)
            Digest.objects.update(
                state="sending", lease_until=well, queued_at=well, occasion="2026-W16-midweek",
                error="SMTPDataError 452 4.2.2",
            )  # fmt: skip
        at(well + 8 * HOUR)
        off = off_in_group(Running.objects.get(), Allowed(), well + 8 * HOUR)
        assert Kind.MAIL_WAITS not in [each.kind for each in off]

    def test_a_full_mailbox_is_an_alarm_where_no_others_mail_left(self, dog: Dog, at, well: datetime):
        """So that a server that says the same to everybody isn't taken for a mailbox."""
        with as_factory():
            MondayList.objects.all().delete()
            Digest.objects.update(state="queued", queued_at=well, error="SMTPDataError 452 4.2.2")
        at(well + 8 * HOUR)
        assert dog.heard == []

    @pytest.mark.parametrize(
        "answer",
        ["SMTPDataError 451 4.7.1", "SMTPDataError 452 4.3.1", "SMTPSenderRefused 450", "ConnectionRefusedError"],
    )
    def test_what_is_said_of_our_side_is_one_whatever_left_before(self, dog: Dog, at, well: datetime, answer: str):
        with as_factory():
            Digest.objects.update(state="queued", queued_at=well, error=answer)
            self.add_sent(2, well)
        at(well + 8 * HOUR)
        assert dog.heard == []

    def test_so_is_a_mail_behind_a_full_mailbox_that_nobody_tried(
        self, dog: Dog, at, well: datetime, group: Group
    ):  # fmt: skip
        with as_factory():
            Digest.objects.update(state="queued", queued_at=well, error="SMTPDataError 452 4.2.2")
            self.add_sent(2, well)
            MondayList.objects.filter(text="invented", state="sent").update(state="queued", error="")
            self.add_sent(2, well)
        at(well + 8 * HOUR)
        assert dog.heard == []

    @staticmethod
    def add_sent(number: int, now: datetime) -> None:
        """Lists of the same week to so many more advisers, which left."""
        for _ in range(number):
            reader = make_user(f"Reader{User.objects.count()}")
            MondayList.objects.create(
                group=Group.objects.get(), recipient=reader, occasion=Digest.objects.get().occasion, language="en",
                subject="", text="invented", html="", queued_at=now, next_try_at=now, sent_at=now, state="sent",
            )  # fmt: skip

    def test_the_ages_are_those_of_the_settings(self, dog: Dog, at, well: datetime, settings):
        settings.WATCHDOG_HOURS = {"check": 2.0, "mail": 0.5, "import": 2.0}
        with as_factory():
            Digest.objects.update(state="queued", queued_at=well)
        at(well + HOUR)
        assert dog.heard == []

    def test_a_bell_that_was_not_heard(self, dog: Dog, well: datetime):
        """Whoever asks without having counted, long after the last bell."""
        with as_role("worker"):
            Ring.objects.create(name="running", rung_at=well - HOUR)
            assert not watchdog.tell(list(Running.objects.all()), well)
        assert dog.heard == []

    def test_an_import_that_waits_too_long(self, dog: Dog, at, group: Group, northfield: Farm, anna, caplog):
        with as_factory():
            made = Import.objects.create(
                farm=northfield, user_id=anna.id, language="en", form="csv", source="file",
                due_at=check_time(monday(0)), made_at=check_time(monday(0)),
            )  # fmt: skip
            Season.objects.all().delete()
        at(moment_of(made.id) + 2 * HOUR + timedelta(minutes=1))
        assert dog.heard == []
        assert f"of group {group.id} 1 imports wait, the oldest since 121 min" in said(caplog)[0]

    def test_nothing_of_a_farm_stands_in_the_line(self, dog: Dog, at, well: datetime, southmead: Farm, caplog):
        at(well + 100 * HOUR)
        text = json.dumps(said(caplog))
        assert text and not any(name in text for name in ("Southmead", "Northfield", str(southmead.id), "example.org"))

    def test_without_an_address_nothing_is_asked_nor_said(self, at, well: datetime, settings, caplog):
        settings.WATCHDOG_URL = ""
        at(well + 100 * HOUR)
        assert said(caplog) == []


class TestPing:
    @pytest.mark.parametrize("code", [200, 204])
    def test_a_good_answer_is_one_of_the_two_hundreds(self, dog: Dog, code: int):
        dog.code = code
        assert watchdog.ping()

    @pytest.mark.parametrize("code", [400, 404, 500])
    def test_any_other_is_told_in_the_log(self, dog: Dog, code: int, caplog):
        dog.code = code
        assert not watchdog.ping()
        assert said(caplog) == [f"The watchdog answered {code}"]

    def test_a_redirect_leads_nowhere(self, dog: Dog):
        other = Dog()
        dog.code, dog.to = 302, other.url
        assert not watchdog.ping()
        assert (len(dog.heard), other.heard) == (1, [])
        other.server_close()

    def test_who_answers_too_late_is_not_waited_for(self, dog: Dog, monkeypatch, caplog):
        monkeypatch.setattr(watchdog, "PATIENCE", 0.2)
        dog.pause = 1.0
        began = time.monotonic()
        assert not watchdog.ping()
        assert time.monotonic() - began < 0.9
        assert said(caplog) == ["The watchdog could not be reached: ReadTimeout"]

    def test_nobody_there_is_told_without_the_address(self, dog: Dog, settings, caplog):
        settings.WATCHDOG_URL = "http://127.0.0.1:9/an-invented-key"
        assert not watchdog.ping()
        assert said(caplog) == ["The watchdog could not be reached: ConnectError"]

    def test_plain_http_only_where_it_is_allowed(self, dog: Dog, settings, caplog):
        settings.WATCHDOG_MAY_BE_PLAIN = False
        assert not watchdog.ping()
        assert dog.heard == [] and "does not begin with https://" in said(caplog)[0]
        assert "an-invented-key" not in said(caplog)[0]

    @pytest.mark.parametrize(
        "url", ["ftp://dog.example.org/x", "dog.example.org/x", "https://", "file:///etc/passwd", "https://[x"]
    )
    def test_other_addresses_are_none(self, settings, url: str):
        settings.WATCHDOG_URL = url
        assert not watchdog.ping()
        assert [message.id for message in checks.watchdog(None)] == ["flyround.E006"]

    def test_a_right_one_may_go_live(self, settings):
        settings.WATCHDOG_URL = "https://dog.example.org/an-invented-key"
        assert checks.watchdog(None) == []
        settings.WATCHDOG_URL = ""
        assert checks.watchdog(None) == []


@pytest.mark.django_db
def test_the_ping_costs_one_query_beside_the_counting(dog: Dog, at, well: datetime):
    at(well)
    with CaptureQueriesContext(connection) as queries:
        watchdog.tell(list(Running.objects.all()), well)
    assert len(queries) == 2
