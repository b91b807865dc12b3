"""Keys in addresses: in no line that a process of ours writes, in no referrer, in no label."""

import json
import logging
import os
import re
import socket
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path
from urllib.parse import quote, urlsplit

import httpx
import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from hypothesis import given
from hypothesis import strategies as st
from prometheus_client import generate_latest
from structlog.stdlib import ProcessorFormatter

from alerts.delivery.choice_address import Reader, choice_token
from alerts.models.mail_choice import MailKind
from alerts.services.choice_key import keys_to_sign
from farms.credentials import new_key
from farms.services import make_feed, make_sign_in_link, revoke_feed
from server.demo.processes import free_port, running, wait_for
from server.secret_addresses import hide_keys
from tests.architecture.source import ROOT
from tests.cast import acting

KEYS = st.from_regex(r"[A-Za-z0-9_-]{1,60}", fullmatch=True)
# A process of its own whose database is nowhere: every request ends in an error with its address.
OUTAGE = """
import sys, django
django.setup()
from django.test import Client
for path in sys.argv[1:]:
    assert Client(headers={"host": "localhost"}).get(path).status_code == 503
"""


@pytest.mark.parametrize(
    ("line", "hidden"),
    [
        ("GET /feeds/qN3-_x/rounds.ics HTTP/1.1", "GET /feeds/.../rounds.ics HTTP/1.1"),
        (
            '"https://flies.example.org/feeds/k/matters.atom?a=1"',
            '"https://flies.example.org/feeds/.../matters.atom?a=1"',
        ),
        ("POST /mail-choice/AAGi-x.Q_w=/ HTTP/1.1", "POST /mail-choice/.../ HTTP/1.1"),
        ("/sign-in/link/k/ and /sign-in/link/l", "/sign-in/link/.../ and /sign-in/link/..."),
        ("/language/?next=%2Fsign-in%2Flink%2Fk%2F&a", "/language/?next=%2Fsign-in%2Flink%2F...%2F&a"),
        ("/feeds%2Fk%2Frounds.ics", "/feeds%2F...%2Frounds.ics"),
        ("GET /feeds/k%41y/rounds.ics", "GET /feeds/.../rounds.ics"),
        ("/phone/?code=20635518", "/phone/?code=..."),
        ("DELETE /api/v1/me/feeds/0190-ab", "DELETE /api/v1/me/feeds/0190-ab"),
        ("/sign-in/code/ and /dates/", "/sign-in/code/ and /dates/"),
    ],
)
def test_what_is_left_of_an_address(line, hidden):
    assert hide_keys(line) == hidden


@given(key=KEYS, before=st.text(max_size=20), after=st.sampled_from(["", " HTTP/1.1", '"}', "\\n", "/", "?x=1", "\n"]))
def test_whatever_the_key_and_what_stands_around_it(key, before, after):
    for start, end in (("/feeds/", "/rounds.ics"), ("/sign-in/link/", "/"), ("/sign-in/link/", "")):
        form = f"{start}{key}{end}"
        assert hide_keys(f" {form}{after}") == f" {start}...{end}{after}"
        written = json.dumps({"event": f"{before} {form}"})
        assert json.loads(hide_keys(written))["event"].endswith(f" {start}...{end}")


@dataclass
class Served:
    """A server started as the image starts it, and where its lines go."""

    site: str
    log: Path

    def raw(self, request: str) -> None:
        """A request that no library would send."""
        at = urlsplit(self.site)
        with socket.create_connection((at.hostname, at.port), timeout=10) as line:
            line.sendall(request.encode())
            line.recv(4096)


@pytest.fixture
def served(tmp_path) -> Iterator[Served]:
    image = (ROOT / "Dockerfile").read_text().replace("\\\n", "")
    (command,) = re.findall(r"^CMD (\[.*\])$", image, re.MULTILINE)
    words, port = json.loads(command), free_port(0)
    words[words.index("--bind") + 1] = f"127.0.0.1:{port}"
    environment = {
        "DJANGO_SETTINGS_MODULE": "server.settings", "PYTHONPATH": str(ROOT), "LOG_LEVEL": "DEBUG",
        "SITE_URL": f"http://127.0.0.1:{port}",
    }  # fmt: skip
    with running(tmp_path, environment) as processes:
        site = processes.start("web", *words, "--no-control-socket")
        wait_for(f"http://127.0.0.1:{port}/readyz", site, tmp_path / "web.log")
        yield Served(f"http://127.0.0.1:{port}", tmp_path / "web.log")


@pytest.mark.django_db(transaction=True, databases="__all__")
def test_a_server_as_the_image_starts_it_writes_no_key_down(served, northfield, anna):
    now = timezone.now()
    with acting(anna):
        calendar, matters = (make_feed(user=anna, kind=kind, now=now) for kind in ("calendar", "matters"))
        revoke_feed(feed=matters[0], by=anna, now=now)
    mail = choice_token(Reader(anna.id, MailKind.DIGEST, northfield.id), keys_to_sign(now))
    link = make_sign_in_link(user=anna, now=now, valid_for=timedelta(hours=1))
    live, dead, unknown = calendar[1], matters[1], new_key()
    page = f"{served.site}/sign-in/link/{link}/"
    with httpx.Client(base_url=served.site) as client:
        assert client.get(f"/feeds/{live}/rounds.ics").status_code == 200
        assert client.head(f"/feeds/{live}/rounds.ics").status_code == 200
        assert client.post(f"/feeds/{live}/rounds.ics").status_code == 405
        assert client.get(f"/feeds/{dead}/matters.atom").status_code == 404
        assert client.get(f"/feeds/{unknown}/rounds.ics").status_code == 404
        assert client.get(f"/feeds/{live}/no-such-file").status_code == 404
        assert client.get(f"/mail-choice/{mail}/").status_code == 200
        assert client.post(f"/mail-choice/{mail}/", data={"List-Unsubscribe": "One-Click"}).status_code == 200
        assert client.get(f"/mail-choice/{mail[:-1]}/").status_code == 404
        # A browser that keeps to no policy names the page that it comes from.
        assert client.get("/sign-in/", headers={"referer": page}).status_code == 200
        assert client.get(f"/farms/?next={quote(page, safe='')}").status_code == 302
        token = re.search(r'csrfmiddlewaretoken" value="(\w+)"', client.get(page).text)
        assert client.post(page, headers={"referer": page}).status_code == 403
        assert client.post(page, data={"csrfmiddlewaretoken": token[1]}).status_code == 302
        assert client.post(page, data={"csrfmiddlewaretoken": token[1]}).status_code in (403, 410)
    served.raw(f"GET /feeds/{live}/rounds.ics HTTP/9.9\r\n\r\n")
    served.raw(f"GE[T /feeds/{live}/rounds.ics HTTP/1.1\r\nHost: x\r\n\r\n")
    served.raw(f"GET /feeds/{live}/rounds.ics HTTP/1.1\r\nHost: no such host\r\n\r\n")
    text = served.log.read_text()
    assert [key for key in (live, dead, unknown, link, mail) if key in text] == []
    # What was asked is still told: by the server, by Django and by the line of each request.
    assert '"POST /mail-choice/.../ HTTP/1.1" 200' in text
    assert '"GET /feeds/.../rounds.ics HTTP/1.1" 200' in text and '"POST /sign-in/link/.../ HTTP/1.1" 302' in text
    told = [json.loads(line) for line in text.splitlines() if line.startswith("{")]
    assert {"GET /feeds/.../rounds.ics", "GET /feeds/.../matters.atom", "POST /sign-in/link/.../"} <= {
        line.get("request") for line in told
    }
    assert any("Not Found: /feeds/" in line["event"] for line in told)


def test_while_the_database_is_gone_the_lines_name_no_key(tmp_path):
    keys = [new_key(), new_key()]
    gone = {
        "DATABASE_URL": "postgresql://nobody@/nothing?host=/nonexistent",
        "DJANGO_SETTINGS_MODULE": "server.settings",
    }
    paths = [f"/feeds/{keys[0]}/rounds.ics", f"/sign-in/link/{keys[1]}/"]
    done = subprocess.run(
        [sys.executable, "-c", OUTAGE, *paths],
        cwd=ROOT,
        env=os.environ | gone,
        capture_output=True,
        text=True,
        check=True,
    )
    assert "GET /feeds/.../rounds.ics could not be answered" in done.stderr
    assert "GET /sign-in/link/.../ could not be answered" in done.stderr
    assert not [key for key in keys if key in done.stderr]


@pytest.mark.django_db
def test_a_crash_is_told_without_the_key_and_with_the_same_headers(monkeypatch, caplog):
    """Django's own report names the address; the formatter of our lines is the last to see it."""
    monkeypatch.setattr("server.feeds.views.feed_by_key", lambda *_args: 1 / 0)
    key = new_key()
    answer = Client(raise_request_exception=False).get(f"/feeds/{key}/rounds.ics")
    assert answer.status_code == 500 and answer.headers["Referrer-Policy"] == "no-referrer"
    (ours,) = (
        each.formatter for each in logging.getLogger().handlers if isinstance(each.formatter, ProcessorFormatter)
    )
    told = "\n".join(ours.format(record) for record in caplog.records)
    assert "Internal Server Error: /feeds/.../rounds.ics" in told and "ZeroDivisionError" in told and key not in told


@pytest.mark.django_db
def test_figures_for_watchers_are_labelled_by_the_view(northfield, anna):
    with acting(anna):
        _feed, key = make_feed(user=anna, kind="calendar", now=timezone.now())
    assert Client().get(reverse("rounds_feed", args=[key])).status_code == 200
    figures = generate_latest().decode()
    assert 'view="rounds_feed"' in figures and key not in figures


@pytest.mark.django_db
def test_a_sign_in_link_goes_into_no_referrer_and_its_form_is_still_believed(anna, settings):
    """The fetch standard sends "Origin: null" with a form of a page that is no-referrer; strict-origin names the site
    alone.
    """
    key = make_sign_in_link(user=anna, now=timezone.now(), valid_for=timedelta(hours=1))
    client = Client(enforce_csrf_checks=True)
    page = client.get(reverse("sign_in_link", args=[key]), secure=True)
    assert (page.headers["Referrer-Policy"], page.headers["X-Robots-Tag"]) == ("strict-origin", "noindex")
    token = re.search(r'csrfmiddlewaretoken" value="(\w+)"', page.text)
    headers = {"origin": "https://testserver", "referer": "https://testserver/"}
    done = client.post(
        reverse("sign_in_link", args=[key]), {"csrfmiddlewaretoken": token[1]}, headers=headers, secure=True
    )
    assert done.status_code == 302 and client.session["_auth_user_id"] == str(anna.id)
