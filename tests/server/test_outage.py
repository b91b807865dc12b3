"""While PostgreSQL or Valkey is gone: 503 with what to do, as a page and as a problem, and nothing half stored."""

import json
import os
import socket
import subprocess
import sys

import pytest
from django.core.cache import cache
from django.db import connection
from django.http import HttpResponse
from django.test import Client
from django.urls import reverse

from farms.models import ApiToken
from tests.architecture.source import ROOT
from tests.cast import as_factory

NOWHERE = "unix:///nonexistent/valkey.sock"
# A process of its own, since this one's connection is the tests' transaction.
ASK = """
import json, django
django.setup()
from django.test import Client
client = Client(headers={"accept-language": "es", "host": "localhost"})
page, api, alive = (client.get(at) for at in ("/sign-in/", "/api/v1/farms", "/healthz"))
waits = [page["Retry-After"], api["Retry-After"]]
print(json.dumps([page.status_code, page.text, waits, api.status_code, api.json(), alive.status_code]))
"""


@pytest.fixture
def no_valkey(settings):
    settings.CACHES = {"default": {"BACKEND": "django.core.cache.backends.redis.RedisCache", "LOCATION": NOWHERE}}


def test_without_a_database_everything_says_try_again_and_the_process_lives():
    gone = {
        "DATABASE_URL": "postgresql://nobody@/nothing?host=/nonexistent",
        "DJANGO_SETTINGS_MODULE": "server.settings",
    }
    done = subprocess.run(
        [sys.executable, "-c", ASK], cwd=ROOT, env=os.environ | gone, capture_output=True, text=True, check=True
    )
    status, page, waits, api_status, problem, alive = json.loads(done.stdout)
    assert (status, waits, api_status, alive) == (503, ["30", "30"], 503, 200)
    assert "Vuelva en un minuto" in page and 'lang="es"' in page
    assert (problem["code"], problem["status"]) == ("unavailable", 503)
    log = [json.loads(line) for line in done.stderr.splitlines()]
    (why,) = (line for line in log if line["event"].startswith("GET /api/v1/farms could not be answered"))
    assert problem["request_id"] in why["event"] and "/nonexistent/" in why["exception"]
    assert all({"event", "level", "logger", "timestamp"} <= line.keys() for line in log)


@pytest.mark.django_db
@pytest.mark.usefixtures("no_valkey")
def test_without_a_cache_no_code_can_be_tried():
    page = Client().post(reverse("phone"), {"code": "12345678", "name": "barn"})
    assert page.status_code == 503 and "send it again" in page.text
    problem = Client().post("/api/v1/phone", {"code": "12345678"}, content_type="application/json")
    assert (problem.status_code, problem["Content-Type"]) == (503, "application/problem+json")
    with as_factory():
        assert not ApiToken.objects.exists()


@pytest.mark.django_db
@pytest.mark.usefixtures("no_valkey")
def test_without_a_cache_pages_and_counts_go_on(anna, northfield):
    client = Client()
    client.force_login(anna)
    assert client.get(reverse("farm", args=[northfield.id])).status_code == 200


@pytest.mark.django_db(transaction=True, databases=["default", "owner"])
def test_a_connection_lost_in_the_middle_is_503_and_the_next_request_is_answered(monkeypatch):
    def lose(*_args, **_kwargs):
        with socket.socket(fileno=os.dup(connection.connection.fileno())) as line:
            line.shutdown(socket.SHUT_RDWR)
        return HttpResponse(str(connection.cursor().execute("SELECT 1")))

    with monkeypatch.context() as patch:
        patch.setattr("server.web.views.home.render", lose)
        assert Client().get("/").status_code == 503
    assert Client().get("/").status_code == 200


@pytest.mark.django_db
def test_behind_a_proxy_tries_are_counted_by_whoever_stands_before_it(settings):
    cache.clear()
    settings.ALLAUTH_TRUSTED_PROXY_COUNT = 1

    def try_code(client: str) -> int:
        # The first address is what the client claims of itself, the last what the proxy saw.
        headers = {"x-forwarded-for": f"203.0.113.200, {client}"}
        return Client().post(reverse("phone"), {"code": "12345678", "name": "barn"}, headers=headers).status_code

    assert [try_code("203.0.113.1") for _ in range(31)][-2:] == [422, 429]
    assert try_code("203.0.113.2") == 422
    settings.ALLAUTH_TRUSTED_PROXY_COUNT = 0
    assert try_code("203.0.113.1") == 422  # without a proxy nobody's word is taken
