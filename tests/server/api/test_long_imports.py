"""Imports that are answered at once and done later: 202, an address to ask, how far it is, what became of each row."""

from typing import Any

import pytest

from farms.models import Farm, User
from monitoring.models import Reading
from server import imports, tasks
from tests.cast import as_factory
from tests.server.api.senders import Sender, session_of
from tests.server.api.test_imports import BAD, GOOD, ROWS
from tests.server.api.test_problems import assert_problem

pytestmark = pytest.mark.django_db
LATER = {"HTTP_PREFER": "respond-async, wait=10"}


@pytest.fixture(autouse=True)
def rung(monkeypatch: pytest.MonkeyPatch, django_capture_on_commit_callbacks: Any) -> list[Any]:
    heard: list[Any] = []
    monkeypatch.setattr(imports, "ring", lambda task, waiting: heard.append((task, waiting)))
    return heard


def send_file(sender: Sender, farm: Farm, content: str | bytes, query: str = "") -> Any:
    return sender.generic("POST", f"/api/v1/farms/{farm.id}/imports{query}", content, "text/csv", **LATER)


def do_all(farm: Farm) -> None:
    """What the worker does when it is rung for."""
    with as_factory():
        rows = list(imports.Import.objects.values_list("farm_id", "id", "user_id", "token_id"))
    for row in rows:
        tasks.do_import(*(str(each) if each else None for each in row))


def test_a_file_is_answered_at_once_and_done_later(program: Sender, northfield: Farm):
    answer = send_file(program, northfield, BAD)
    assert (answer.status_code, answer["Preference-Applied"], answer["Retry-After"]) == (202, "respond-async", "1")
    made = answer.json()
    assert answer["Location"] == f"/api/v1/farms/{northfield.id}/imports/{made['id']}"
    assert (made["state"], made["rows"], made["rows_done"], made["problem"]) == ("waiting", None, 0, None)
    waiting = program.get(answer["Location"])
    assert (waiting.json(), waiting["Retry-After"]) == (made, "1")
    do_all(northfield)
    done = program.get(answer["Location"])
    assert "Retry-After" not in done
    told = {name: done.json()[name] for name in ("state", "rows", "rows_done", "stored", "known", "refused", "rounds")}
    assert told == {
        "state": "done", "rows": 6, "rows_done": 6, "stored": 3, "known": 0, "refused": 3, "rounds": 2,
    }  # fmt: skip
    assert program.get(f"/api/v1/farms/{northfield.id}/imports").json()["results"] == [done.json()]


def test_its_results_are_those_that_come_at_once_in_pages(program: Sender, northfield: Farm):
    at_once = program.generic("POST", f"/api/v1/farms/{northfield.id}/imports?dry_run=true", BAD, "text/csv").json()
    address = send_file(program, northfield, BAD)["Location"] + "/results"
    assert program.get(address).json()["results"] == []
    do_all(northfield)
    found, page = [], program.get(f"{address}?limit=4").json()
    assert page["previous"] is None
    found += page["results"]
    page = program.get(page["next"]).json()
    found += page["results"]
    assert (page["next"], len(page["results"])) == (None, 2)
    assert program.get(page["previous"]).json()["results"] == found[:4]
    assert found == at_once["results"]
    for query in ("?limit=0", "?limit=1001", "?cursor=-1", "?cursor=x", "?cursor=²"):
        assert_problem(program.get(address + query), 422, "bad_query")


def test_a_list_may_be_done_later_too(anna: User, northfield: Farm):
    sender = session_of(anna)
    path = f"/api/v1/farms/{northfield.id}/readings/bulk"
    answer = sender.post(f"{path}?atomic=true", {"readings": ROWS}, **LATER)
    assert (answer.status_code, answer.json()["atomic"]) == (202, True)
    do_all(northfield)
    assert sender.get(answer["Location"]).json()["stored"] == 3
    with as_factory():
        assert Reading.objects.count() == 3


def test_what_is_refused_says_why_as_an_answer_would(program: Sender, northfield: Farm):
    address = send_file(program, northfield, BAD, "?atomic=true")["Location"]
    do_all(northfield)
    told = program.get(address).json()
    at_once = program.generic("POST", f"/api/v1/farms/{northfield.id}/imports?atomic=true", BAD, "text/csv").json()
    assert told["state"] == "refused"
    assert told["problem"] == {name: at_once[name] for name in ("code", "detail", "errors")}


def test_what_can_be_refused_at_once_is(program: Sender, reader: Sender, northfield: Farm):
    path = f"/api/v1/farms/{northfield.id}/readings/bulk"
    assert_problem(program.generic("POST", path, "{", "application/json", **LATER), 400, "not_json")
    assert_problem(program.post(path, {"readings": 7}, **LATER), 422, "invalid")
    assert_problem(send_file(program, northfield, b"x" * (5 * 1024 * 1024 + 1)), 413, "file_too_large")
    assert_problem(send_file(program, northfield, GOOD, "?order=x"), 422, "bad_query")
    assert_problem(send_file(reader, northfield, GOOD), 403, "forbidden")


@pytest.mark.parametrize("prefer", ["", "wait=10", "return=minimal", "respond-asynchronously"])
def test_only_who_asks_for_it_is_answered_before_it_is_done(program: Sender, northfield: Farm, prefer: str):
    path = f"/api/v1/farms/{northfield.id}/imports"
    assert program.generic("POST", path, GOOD, "text/csv", HTTP_PREFER=prefer).status_code == 200


def test_carla_sees_no_import_of_northfield(program: Sender, northfield: Farm, southmead: Farm, carla: User):
    made = send_file(program, northfield, GOOD).json()
    sender = session_of(carla)
    for noun in ("imports", f"imports/{made['id']}", f"imports/{made['id']}/results"):
        assert_problem(sender.get(f"/api/v1/farms/{northfield.id}/{noun}"), 404, "not_found")
    for noun in (f"imports/{made['id']}", f"imports/{made['id']}/results"):
        assert_problem(sender.get(f"/api/v1/farms/{southmead.id}/{noun}"), 404, "not_found")
