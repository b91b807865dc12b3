"""Every error under /api/ has the one shape, whoever found it."""

import json
from typing import Any
from uuid import uuid4

import pytest
from rest_framework.test import APIClient

from farms.models import Farm, User
from server.api.problems import CONTENT_TYPE, flatten
from tests.server.api.senders import Sender, session_of

SHAPE = {"type", "title", "status", "code", "detail", "request_id"}


def assert_problem(response: Any, status: int, code: str) -> dict[str, Any]:
    assert response.status_code == status, response.content
    assert response.headers["Content-Type"] == CONTENT_TYPE
    problem: dict[str, Any] = json.loads(response.content)
    assert SHAPE <= set(problem) <= SHAPE | {"errors", "details"}
    assert (problem["type"], problem["status"], problem["code"]) == ("about:blank", status, code)
    assert problem["request_id"] == response.headers["X-Request-ID"]
    for sentence in [problem["detail"], *(error["detail"] for error in problem.get("errors", []))]:
        assert sentence[0].isupper() and sentence.rstrip().endswith("."), sentence
    return problem


@pytest.mark.parametrize("path", ["nothing", "farms/12", "farms/0/stations", "farms/", "me/again", ""])
def test_an_address_that_does_not_exist(anna: User, path: str):
    assert_problem(session_of(anna).get(f"/api/v1/{path}"), 404, "not_found")


def test_somebody_unknown_is_asked_to_sign_in(db: None):
    response = APIClient().get("/api/v1/me")
    assert_problem(response, 401, "not_signed_in")
    assert response.headers["WWW-Authenticate"].startswith("Bearer")


def test_a_token_that_is_not_known(anna: User):
    response = Sender("fly_" + "x" * 43).get("/api/v1/me")
    assert_problem(response, 401, "bad_token")
    assert response.headers["WWW-Authenticate"].startswith("Bearer")


def test_a_bad_token_is_not_excused_by_a_session(anna: User):
    sender = session_of(anna)
    sender.credentials(HTTP_AUTHORIZATION="Bearer fly_nothing")
    assert_problem(sender.get("/api/v1/me"), 401, "bad_token")


def test_a_session_without_csrf_token_changes_nothing(anna: User, northfield: Farm):
    client = APIClient(enforce_csrf_checks=True)
    client.force_login(anna)
    response = client.post(f"/api/v1/farms/{northfield.id}/seasons", {"opens_on": "2027-04-01"}, format="json")
    assert_problem(response, 403, "csrf")


@pytest.mark.parametrize("method", ["put", "patch", "delete", "options", "trace"])
def test_a_method_that_is_not_taken(anna: User, northfield: Farm, method: str):
    response = getattr(session_of(anna), method)(f"/api/v1/farms/{northfield.id}/facilities")
    assert_problem(response, 405, "method_not_allowed")
    assert response.headers["Allow"] == "GET, POST, HEAD, OPTIONS"


def test_an_answer_that_is_not_json_is_not_given(anna: User):
    assert_problem(session_of(anna).get("/api/v1/me", headers={"Accept": "text/html"}), 406, "not_acceptable")


def test_a_kind_of_content_that_is_not_taken(anna: User, northfield: Farm):
    response = session_of(anna).post(f"/api/v1/farms/{northfield.id}/seasons", b"<a/>", content_type="application/xml")
    assert_problem(response, 415, "unsupported_media_type")


@pytest.mark.parametrize(
    "body", [b'{"opens_on": ', b"[1, 2", b'{"a": NaN}', b"[" * 100_000, b'{"a": 1, "a": 2}', b"9" * 5000, b"\x00"]
)
def test_a_body_that_is_not_json(anna: User, northfield: Farm, body: bytes):
    response = session_of(anna).post(f"/api/v1/farms/{northfield.id}/seasons", body, content_type="application/json")
    problem = assert_problem(response, 400, "not_json")
    assert problem["errors"][0]["pointer"] == ""


def test_a_body_that_is_not_utf8(anna: User, northfield: Farm):
    body = '{"name": "Kälberstall", "kind": "calf_barn"}'.encode("latin-1")
    response = session_of(anna).post(f"/api/v1/farms/{northfield.id}/facilities", body, content_type="application/json")
    problem = assert_problem(response, 422, "not_utf8")
    assert problem["errors"] == [{"pointer": "", "code": "not_utf8", "detail": problem["detail"]}]


def test_a_body_that_is_too_large(anna: User, northfield: Farm):
    body = json.dumps({"opens_on": "2027-04-01", "padding": "x" * 1_100_000})
    response = session_of(anna).post(f"/api/v1/farms/{northfield.id}/seasons", body, content_type="application/json")
    assert_problem(response, 413, "body_too_large")


def test_a_body_beyond_everything_is_refused_before_it_is_read(db: None):
    response = APIClient().post("/api/v1/phone", b"x" * (16 * 1024 * 1024 + 1), content_type="application/json")
    assert_problem(response, 413, "too_large")


def test_a_crash_tells_nothing_but_its_number(anna: User, monkeypatch: pytest.MonkeyPatch):
    def crash(*args: Any) -> None:
        raise ZeroDivisionError("a secret")

    monkeypatch.setattr("server.api.v1.farms.farms_of", crash)
    response = session_of(anna).get("/api/v1/farms", headers={"X-Request-ID": "trace-17"})
    problem = assert_problem(response, 500, "server_error")
    assert problem["request_id"] == "trace-17"
    assert b"secret" not in response.content


def test_a_request_id_that_could_break_the_log_is_replaced(anna: User):
    response = session_of(anna).get("/api/v1/me", headers={"X-Request-ID": 'a"b c'})
    assert response.status_code == 200
    assert response.headers["X-Request-ID"] not in ("", 'a"b c')


def test_pointers_reach_into_lists_and_escape_their_signs():
    found = flatten({"a/b": {"c~d": ["One."]}, "rows": [{}, {"count": ["Two."]}], "list": {0: ["Three."]}})
    assert [error["pointer"] for error in found] == ["/a~1b/c~0d", "/rows/1/count", "/list/0"]


def test_no_answer_stays_in_a_cache_on_the_way(anna: User, northfield: Farm):
    """Whoever asked may keep it, and asks each time whether it is still right; a refusal is kept by nobody."""
    for path in ("me", "farms", f"farms/{northfield.id}"):
        answer = session_of(anna).get(f"/api/v1/{path}")
        assert answer.headers["Cache-Control"] == "private, no-cache"
        assert "Authorization" in answer.headers["Vary"]
    assert session_of(anna).get(f"/api/v1/farms/{uuid4()}").headers["Cache-Control"] == "no-store"
    made = session_of(anna).post(f"/api/v1/farms/{northfield.id}/facilities", {"name": "Parlor", "kind": "parlor"})
    assert made.headers["Cache-Control"] == "no-store"


def test_sentences_follow_the_language_asked_for(anna: User):
    known = session_of(anna).get(f"/api/v1/farms/{uuid4()}", headers={"Accept-Language": "en"})
    assert known.json()["detail"].startswith("There is nothing at this address.")
