"""What a watcher of the service is told."""

import pytest
from django.core.cache import cache
from django.db import connection
from django.db.utils import OperationalError
from django.test import Client

from server import health

pytestmark = pytest.mark.django_db


def test_the_process_lives_and_is_ready():
    client = Client()
    assert client.get("/healthz").json() == {"status": "alive"}
    answer = client.get("/readyz")
    assert (answer.status_code, answer.json()) == (
        200, {"status": "ready", "database": "answers", "broker": "answers"},
    )  # fmt: skip
    assert "no-store" in answer["Cache-Control"]


def test_without_a_database_it_lives_and_is_not_ready(monkeypatch):
    def gone(recorder):
        raise OperationalError("the server closed the connection")

    monkeypatch.setattr(health.MigrationRecorder, "applied_migrations", gone)
    assert Client().get("/healthz").status_code == 200
    answer = Client().get("/readyz")
    assert (answer.status_code, answer.json()["database"]) == (503, "no answer")
    assert "closed the connection" not in answer.text


def test_a_release_whose_migrations_wait_is_not_ready(monkeypatch):
    here = health.migrations_here() | {("farms", "9999_later"), ("alerts", "9999_later")}
    monkeypatch.setattr(health, "migrations_here", lambda: here)
    answer = Client().get("/readyz")
    assert (answer.status_code, answer.json()["database"]) == (503, "2 migrations wait")


def test_a_lost_broker_is_told_and_the_pages_go_on(settings):
    settings.REDIS_URL = "unix:///nonexistent/valkey.sock"
    answer = Client().get("/readyz")
    assert (answer.status_code, answer.json()["broker"]) == (200, "no answer")


def test_a_watcher_changes_nothing():
    assert Client().post("/healthz").status_code == 405
    assert Client().post("/readyz").status_code == 405


def test_the_cache_of_this_run_answers():
    """Each process of the tests has its own part of Valkey."""
    cache.set("invented", 1, timeout=5)
    assert cache.get("invented") == 1
    assert connection.settings_dict["NAME"].startswith("test_")
