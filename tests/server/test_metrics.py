"""The service in numbers for Prometheus, as its own client's parser reads them."""

import json
import re
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import httpx
import pytest
import yaml
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from prometheus_client.parser import text_string_to_metric_families

from alerts.checks.failures import set_aside
from alerts.delivery import outbox
from farms.models import Farm, Group, User
from server import checks
from server.celery import app
from server.demo.processes import free_port, running, wait_for
from server.metrics import QUEUES
from tests.alerts.scene import check_time, monday
from tests.alerts.test_running import note, owned, run_monday  # noqa: F401  owned is a fixture
from tests.architecture.source import ROOT
from tests.cast import as_role

TOKEN = "an-invented-token-of-a-watcher-1x4Tq9"
Samples = dict[tuple[str, frozenset[tuple[str, str]]], float]


@pytest.fixture
def token(settings) -> str:
    settings.METRICS_TOKEN = TOKEN
    return TOKEN


def parsed(text: str) -> Samples:
    """Every sample by its name and labels; the parser raises where a line is not Prometheus' text format."""
    families = text_string_to_metric_families(text)
    return {
        (sample.name, frozenset(sample.labels.items())): sample.value for each in families for sample in each.samples
    }


def scraped(token: str) -> Samples:
    answer = Client(headers={"authorization": f"Bearer {token}"}).get("/metrics")
    assert answer.status_code == 200, answer.text
    assert answer["Content-Type"].startswith("text/plain; version=")
    return parsed(answer.text)


@pytest.mark.django_db
class TestDoor:
    def test_without_a_token_in_the_settings_it_is_not_there(self, settings):
        settings.METRICS_TOKEN = ""
        for client in (Client(), Client(headers={"authorization": "Bearer "})):
            assert client.get("/metrics").status_code == 404

    @pytest.mark.parametrize(
        "given", ["", "Bearer", "Bearer ", "Bearer x", f"Basic {TOKEN}", f"Bearer {TOKEN}x", "Bearer ü"]
    )
    def test_whoever_has_not_the_token_is_told_to_bring_it(self, token: str, given: str):
        answer = Client(headers={"authorization": given}).get("/metrics")
        assert (answer.status_code, answer["WWW-Authenticate"]) == (401, "Bearer")
        assert "flyround_" not in answer.text

    def test_a_signed_in_coordinator_and_staff_have_no_token_by_that(self, token: str, erik: User):
        client = Client()
        client.force_login(erik)
        assert client.get("/metrics").status_code == 401

    def test_it_is_only_read(self, token: str):
        client = Client(headers={"authorization": f"Bearer {token}"})
        assert client.post("/metrics").status_code == 405
        assert "no-store" in client.get("/metrics")["Cache-Control"]

    def test_a_token_that_can_be_guessed_does_not_go_live(self, settings):
        settings.METRICS_TOKEN = "short"
        assert [message.id for message in checks.metrics_token(None)] == ["flyround.E005"]


@pytest.mark.django_db
class TestNumbers:
    @pytest.fixture(autouse=True)
    def at(self, standing_clock: Path) -> None:
        self.clock = standing_clock

    def scraped_at(self, moment, token: str) -> Samples:
        self.clock.write_text(moment.isoformat())
        return scraped(token)

    def test_they_are_those_of_the_rows(self, token: str, group: Group, owned: Farm, southmead: Farm):  # noqa: F811
        now = check_time(monday(0))
        run_monday(group, now)
        with as_role("worker"):
            set_aside(southmead, monday(0), ValueError("an invented fault"), now)
        row = note(now, group)
        found = self.scraped_at(now + timedelta(minutes=5), token)
        own = frozenset({("group_id", str(group.id))})
        assert found["flyround_groups", frozenset()] == 1
        assert found["flyround_beat_silence_seconds", frozenset()] == 300
        for name, value in {
            "flyround_check_farms_to_judge": 2, "flyround_check_farms_judged": row.judged,
            "flyround_check_farms_failed": 0, "flyround_check_farms_set_aside": 1, "flyround_check_notices_owed": 1,
            "flyround_check_notices_written": 1, "flyround_notices_waiting": row.waiting, "flyround_notices_sent": 0,
            "flyround_notices_refused": 0, "flyround_imports_unfinished": 0, "flyround_check_attempts": 1,
            "flyround_check_oldest_due_seconds": 0,
            "flyround_notice_oldest_waiting_seconds": 300,
        }.items():  # fmt: skip
            assert found[name, own] == value, name
        assert 0 < found["flyround_check_duration_seconds", own] < 60
        assert row.waiting > 0 and row.judged == 2
        assert found["flyround_check_runs_done_total", frozenset()] == 1
        with as_role("worker"):
            outbox.send_due(now)
        note(now, group)
        after = self.scraped_at(now, token)
        assert after["flyround_notices_sent", own] == row.waiting
        assert after["flyround_notice_oldest_waiting_seconds", own] == 0

    def test_a_week_that_is_late_is_told_while_no_worker_lives(self, token: str, group: Group, owned: Farm):  # noqa: F811
        now = check_time(monday(0))
        run_monday(group, now)
        row = note(now, group)
        found = self.scraped_at(row.due_at + timedelta(hours=3), token)
        assert found["flyround_check_oldest_due_seconds", frozenset({("group_id", str(group.id))})] == 3 * 3600
        assert found["flyround_beat_silence_seconds", frozenset()] > 6 * 86400

    def test_no_farm_and_no_person_stands_in_a_label(
        self, token: str, group: Group, owned: Farm, southmead: Farm, anna: User, dana: User  # noqa: F811
    ):  # fmt: skip
        now = check_time(monday(0))
        run_monday(group, now)
        with as_role("worker"):
            set_aside(southmead, monday(0), ValueError(f"{southmead.name} of {anna.email}"), now)
        note(now, group)
        client = Client()
        client.force_login(anna)
        client.get(f"/farms/{owned.id}/")
        self.clock.write_text(now.isoformat())
        text = Client(headers={"authorization": f"Bearer {token}"}).get("/metrics").text
        for secret in (owned, southmead, anna, dana):
            assert str(secret.id) not in text
        for name in ("Northfield", "Southmead", "Anna", "example.org", group.name):
            assert name not in text
        ours = {name for sample in parsed(text) if sample[0].startswith("flyround_") for name, _value in sample[1]}
        assert ours <= {"group_id", "state", "queue"}

    def test_names_end_in_their_unit_or_say_what_is_counted(self, token: str, group: Group):
        """Prometheus, "Metric and label naming": base units, a suffix that names them, `_total` for counters."""
        text = Client(headers={"authorization": f"Bearer {token}"}).get("/metrics").text
        families = [each for each in text_string_to_metric_families(text) if each.name.startswith("flyround_")]
        assert len(families) > 15
        for each in families:
            assert re.fullmatch(r"flyround_[a-z]+(_[a-z]+)*", each.name) and each.documentation.endswith(".")
            age = any(word in each.name for word in ("oldest", "silence", "duration"))
            assert age == each.name.endswith("_seconds"), each.name
            assert each.type == ("counter" if each.name == "flyround_check_runs_done" else "gauge")

    def test_every_name_in_the_documents_is_told_and_its_rules_can_be_read(self, token: str, group: Group, owned: Farm):  # noqa: F811
        now = check_time(monday(0))
        run_monday(group, now)
        note(now, group)
        told = {name for name, _labels in self.scraped_at(now, token)}
        text = (ROOT / "docs" / "running.md").read_text()
        named = set(re.findall(r"\bflyround_(?!app|worker|backup|owner)[a-z_]+[a-z]\b", text))
        assert len(named) > 10 and named <= told
        (group_of_rules,) = yaml.safe_load(re.search(r"```yaml\n(.*?)```", text, re.DOTALL)[1])["groups"]
        assert all({"alert", "expr", "annotations"} <= rule.keys() for rule in group_of_rules["rules"])

    def test_what_lies_in_the_broker(self, token: str):
        empty_queues()
        for _ in range(3):
            app.send_task("server.tasks.none", queue="imports")
        found = self.scraped_at(check_time(monday(0)), token)
        app.send_task("server.tasks.none", queue="celery")
        again = self.scraped_at(check_time(monday(0)), token)
        name = "flyround_queue_messages"
        imports, celery = frozenset({("queue", "imports")}), frozenset({("queue", "celery")})
        assert (again[name, imports], again[name, celery] - found[name, celery]) == (found[name, imports], 1)
        assert found[name, imports] == 3
        empty_queues()

    def test_a_broker_that_is_gone_has_no_number_and_all_others_stay(self, token: str, group: Group, monkeypatch):
        monkeypatch.setattr(app.conf, "broker_read_url", "redis+socket:///nonexistent/valkey.sock")
        note(check_time(monday(0)), group)
        found = self.scraped_at(check_time(monday(0)), token)
        assert not any(name == "flyround_queue_messages" for name, _labels in found)
        assert found["flyround_groups", frozenset()] == 1

    def test_as_many_queries_however_many_groups(self, token: str, group: Group):
        note(check_time(monday(0)), group)
        with CaptureQueriesContext(connection) as queries:
            scraped(token)
        assert len(queries) <= 6


def empty_queues() -> None:
    with app.connection_for_write() as broker:
        for queue in QUEUES:
            broker.channel().queue_purge(queue)


@pytest.fixture
def two_processes(tmp_path: Path) -> Iterator[str]:
    """A server as the image starts it, of two processes."""
    image = (ROOT / "Dockerfile").read_text().replace("\\\n", "")
    words, port = json.loads(re.findall(r"^CMD (\[.*\])$", image, re.MULTILINE)[0]), free_port(0)
    words[words.index("--bind") + 1] = f"127.0.0.1:{port}"
    (tmp_path / "counters").mkdir()
    (tmp_path / "counters" / "counter_1.db").write_bytes(b"left by an earlier life")
    environment = {
        "DJANGO_SETTINGS_MODULE": "server.settings", "PYTHONPATH": str(ROOT), "WEB_CONCURRENCY": "2",
        "METRICS_TOKEN": TOKEN, "PROMETHEUS_MULTIPROC_DIR": str(tmp_path / "counters"),
    }  # fmt: skip
    with running(tmp_path, environment) as processes:
        site = processes.start("web", *words, "--no-control-socket")
        wait_for(f"http://127.0.0.1:{port}/readyz", site, tmp_path / "web.log")
        yield f"http://127.0.0.1:{port}"


@pytest.mark.django_db(transaction=True, databases="__all__")
def test_whichever_process_is_asked_adds_up_all_of_them(two_processes: str, tmp_path: Path):
    for _ in range(40):  # each by a connection of its own
        assert httpx.get(f"{two_processes}/healthz").status_code == 200
    seen = set()
    for _ in range(4):
        answer = httpx.get(f"{two_processes}/metrics", headers={"authorization": f"Bearer {TOKEN}"})
        assert answer.status_code == 200, answer.text
        found = parsed(answer.text)
        name = "django_http_requests_total_by_view_transport_method_total"
        seen.add(
            sum(
                value
                for (each, labels), value in found.items()
                if each == name and ("view", "server.health.healthz") in labels
            )
        )
    assert seen == {40.0}
    assert len(list((tmp_path / "counters").glob("counter_*.db"))) == 2
