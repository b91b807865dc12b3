"""The client against a running service: files go in, refusals are sentences, a busy service is asked again."""

import json
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any

import httpx
import pytest
from django.utils import timezone
from typer.testing import CliRunner

from farms.models import Farm, User
from farms.services import make_token
from monitoring.models import Reading
from server.client import Flyround, Refused
from server.client.__main__ import app
from tests.cast import NOW, acting, as_factory

COMMITS = pytest.mark.django_db(transaction=True, databases="__all__")
GOOD = "station,hung on,taken on,count\nCard 1,2026-05-18,2026-05-25,31\nCard 1,2026-05-25,2026-06-01,42\n"


@pytest.fixture(autouse=True)
def standing_clock(settings: Any, tmp_path: Path) -> None:
    path = tmp_path / "clock"
    path.write_text(NOW.isoformat())
    settings.CLOCK_FILE = str(path)


@pytest.fixture
def door(northfield: Farm, anna: User, live_server: Any) -> list[str]:
    """Options of the command for Northfield's program."""
    now = timezone.now()
    with acting(anna):
        _, key = make_token(
            farm=northfield, name="Client", scope="write", by=anna, expires_at=now + timedelta(days=1), now=now
        )
    return ["--token", key, "--site", live_server.url]


def run(*words: str) -> Any:
    return CliRunner().invoke(app, list(words))


@COMMITS
def test_a_file_is_looked_at_stored_once_and_read_back(door: list[str], northfield: Farm, tmp_path: Path):
    file = tmp_path / "season.csv"
    file.write_text(GOOD)
    farm = ["--farm", str(northfield.id)]
    looked = run("import", str(file), *farm, *door, "--dry-run")
    assert (looked.exit_code, "2 readings would be stored in 2 rounds" in looked.stdout) == (0, True), looked.output
    first, again = run("import", str(file), *farm, *door), run("import", str(file), *door)
    assert "2 readings stored in 2 rounds; 0 were known before." in first.stdout
    assert "0 readings stored in 0 rounds; 2 were known before." in again.stdout
    with as_factory():
        assert Reading.objects.filter(farm=northfield).count() == 2
    whose = run("whose", *door)
    assert "Client (program)" in whose.stdout and f"Northfield  {northfield.id}" in whose.stdout
    assert run("results", *door).stdout == ""


@COMMITS
def test_a_file_with_faults_ends_with_every_place(door: list[str], northfield: Farm, tmp_path: Path):
    file = tmp_path / "season.csv"
    file.write_text(GOOD + "Card 9,2026-05-18,2026-05-25,-3\n")
    refused = run("import", str(file), *door, "--atomic")
    assert refused.exit_code == 1
    assert "row 4, count: A count can't be less than 0." in refused.stderr
    looked = run("import", str(file), *door, "--dry-run")
    assert (looked.exit_code, "row 4, count '-3'" in looked.stderr) == (1, True)
    stored = run("import", str(file), *door)
    assert (stored.exit_code, "2 readings stored" in stored.stdout) == (1, True)


@COMMITS
def test_a_key_that_is_not_known(live_server: Any):
    refused = run("whose", "--token", "fly_nothing", "--site", live_server.url)
    assert refused.exit_code == 1
    assert refused.stderr.startswith("This token isn't known")


def test_a_service_that_is_not_there(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr("time.sleep", lambda seconds: None)
    refused = run("whose", "--token", "fly_nothing", "--site", "http://127.0.0.1:9")
    assert (refused.exit_code, "can't be reached" in refused.stderr) == (1, True)


def with_answers(answers: Iterator[httpx.Response]) -> Flyround:
    flyround = Flyround("http://flyround.test", "fly_key", wait=0)
    transport = httpx.MockTransport(lambda request: next(answers))
    flyround.http = httpx.Client(transport=transport, base_url="http://flyround.test/api/v1/")
    return flyround


def test_a_busy_service_is_asked_again():
    answers = iter([httpx.Response(503), httpx.Response(429), httpx.Response(200, json={"kind": "program"})])
    with with_answers(answers) as flyround:
        assert flyround.me() == {"kind": "program"}


def test_a_service_that_stays_busy_is_left_alone_after_four_tries():
    answers = iter([httpx.Response(502, text="<html>") for _ in range(4)])
    with with_answers(answers) as flyround, pytest.raises(Refused, match=r"The service answered 502\."):
        flyround.me()
    assert next(answers, None) is None


def test_a_refusal_carries_its_code_and_places():
    problem = {"code": "table_refused", "detail": "Nothing.", "errors": [{"pointer": "/rows/4", "detail": "No."}]}
    with with_answers(iter([httpx.Response(422, json=problem)])) as flyround, pytest.raises(Refused) as refused:
        flyround.send_readings("a-farm", [])
    assert (refused.value.status, refused.value.code, refused.value.errors) == (422, "table_refused", problem["errors"])


def test_pages_are_followed_to_the_end():
    pages = [{"results": [{"n": 1}], "next": "http://flyround.test/api/v1/farms?cursor=x"}, {"results": [{"n": 2}]}]
    answers = (httpx.Response(200, text=json.dumps(page)) for page in pages)
    with with_answers(answers) as flyround:
        assert [row["n"] for row in flyround.farms()] == [1, 2]


def test_the_client_imports_nothing_of_the_rest():
    for path in Path("server/client").glob("*.py"):
        words = path.read_text()
        assert not any(f"from {name}" in words for name in ("django", "farms", "monitoring", "alerts", "server.api"))
