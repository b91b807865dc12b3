"""The API from Python: what is asked again, what is a refusal, and what is neither."""

import json
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import httpx
import pytest

from server.client import Away, Flyround, Plan, Refused
from server.client.answers import retry_after
from server.client.language import language
from server.client.patience import Patience

PROBLEM = {"Content-Type": "application/problem+json"}
FARM = "0197d0c2-5c00-7000-8000-000000000001"


def problem(status: int, detail: str = "No.", headers: dict[str, str] | None = None, **more: Any) -> httpx.Response:
    return httpx.Response(status, json={"detail": detail, **more}, headers=PROBLEM | (headers or {}))


def with_answers(answers: Iterator[httpx.Response | Exception]) -> Flyround:
    def answer(request: httpx.Request) -> httpx.Response:
        found = next(answers)
        if isinstance(found, Exception):
            raise found
        return found

    return Flyround("http://flyround.test", "fly_key", Patience(0), httpx.MockTransport(answer))


def asked_by(act: Callable[[Flyround], Any], *answers: httpx.Response) -> list[httpx.Request]:
    """The requests that something makes when it is answered so."""
    asked, left = [], iter(answers)

    def answer(request: httpx.Request) -> httpx.Response:
        asked.append(request)
        return next(left)

    with Flyround("http://flyround.test", "fly_key", Patience(0), httpx.MockTransport(answer)) as flyround:
        act(flyround)
    return asked


@pytest.fixture
def pauses(monkeypatch: pytest.MonkeyPatch) -> list[float]:
    found: list[float] = []
    monkeypatch.setattr("time.sleep", found.append)
    return found


def test_a_busy_service_is_asked_again():
    answers = iter([httpx.Response(503), problem(429), httpx.Response(200, json={"kind": "program"})])
    with with_answers(answers) as flyround:
        assert flyround.me() == {"kind": "program"}


def test_a_service_that_stays_busy_is_left_alone_after_four_tries():
    answers = iter([httpx.Response(502, text="<html>") for _ in range(4)])
    with with_answers(answers) as flyround, pytest.raises(Away, match="busy"):
        flyround.me()
    assert next(answers, None) is None


def test_it_waits_as_long_as_the_service_asks(pauses: list[float]):
    answers = iter([problem(429, headers={"Retry-After": "7"}), httpx.Response(200, json={})])
    with with_answers(answers) as flyround:
        flyround.me()
    assert pauses == [7.0]


def test_it_waits_not_at_all_where_the_service_asks_for_long(pauses: list[float]):
    with with_answers(iter([problem(503, "Later.", {"Retry-After": "900"})])) as flyround, pytest.raises(Away) as away:
        flyround.me()
    assert (pauses, away.value.after, str(away.value)) == ([], 900.0, "Later.")


@pytest.mark.parametrize(
    ("said", "seconds"),
    # The date is the example of RFC 9110, 10.2.3, half a minute before it.
    [("120", 120.0), ("Fri, 31 Dec 1999 23:59:59 GMT", 30.0), ("", 0.0), ("soon", 0.0), ("-3", 0.0)],
)
def test_retry_after_is_seconds_or_a_date(said: str, seconds: float):
    response = httpx.Response(503, headers={"Retry-After": said})
    assert retry_after(response, datetime(1999, 12, 31, 23, 59, 29, tzinfo=UTC)) == seconds


def test_pauses_grow_and_are_never_all_alike():
    patience = Patience()
    several = {patience.until_next(3) for _ in range(50)}
    assert len(several) > 40 and all(60 <= each <= 180 for each in several)
    assert all(patience.until_next(tries) <= 1.5 * 3600 for tries in range(2000))
    assert [patience.pause(3, 0), patience.pause(0, 61)] == [None, None]


def test_a_refusal_carries_its_code_and_places():
    refusal = problem(422, "Nothing.", code="table_refused", errors=[{"pointer": "/rows/4", "detail": "No."}])
    with with_answers(iter([refusal])) as flyround, pytest.raises(Refused, match="Nothing") as refused:
        flyround.send_readings(FARM, [])
    assert (refused.value.status, refused.value.code) == (422, "table_refused")
    assert refused.value.errors == [{"pointer": "/rows/4", "detail": "No."}]


@pytest.mark.parametrize(
    "answer",
    [
        httpx.Response(200, text="<html>Welcome to the guest network</html>"),
        httpx.Response(302, headers={"Location": "http://portal.test/"}),
        httpx.Response(403, text="<html>Blocked</html>"),
        httpx.Response(404, json={"detail": "no such app"}),
        httpx.Response(200, json=["not", "ours"]),
    ],
)
def test_what_something_in_between_says_is_neither_stored_nor_refused(answer: httpx.Response):
    with with_answers(iter([answer] * 4)) as flyround, pytest.raises(Away):
        flyround.send_round(FARM, FARM, {"walked_on": "2026-06-01"})


def test_an_answer_about_another_round_is_none():
    with with_answers(iter([httpx.Response(200, json={"id": "another"})])) as flyround, pytest.raises(Away):
        flyround.send_round(FARM, FARM, {"walked_on": "2026-06-01"})


def test_a_broken_line_is_tried_again():
    answers = iter([httpx.ReadError("cut"), httpx.RemoteProtocolError("half"), httpx.Response(200, json={"id": FARM})])
    with with_answers(answers) as flyround:
        assert flyround.send_round(FARM, FARM, {"walked_on": "2026-06-01"}) == {"id": FARM}


def test_each_try_of_a_round_says_when_it_left():
    def send(flyround: Flyround) -> None:
        flyround.send_round(FARM, FARM, {"walked_on": "2026-06-01"}, say_sent_at=True)

    asked = asked_by(send, httpx.Response(503), httpx.Response(200, json={"id": FARM}))
    first, second = (json.loads(each.content) for each in asked)
    assert first["walked_on"] == second["walked_on"] and first["sent_at"] < second["sent_at"]


def test_pages_are_followed_on_this_site_alone():
    pages = [
        httpx.Response(200, json={"results": [{"n": 1}], "next": "http://elsewhere.test/api/v1/farms?cursor=x"}),
        httpx.Response(200, json={"results": [{"n": 2}]}),
    ]
    asked = asked_by(lambda flyround: list(flyround.farms()), *pages)
    assert [str(each.url) for each in asked] == [
        "http://flyround.test/api/v1/farms", "http://flyround.test/api/v1/farms?cursor=x"
    ]  # fmt: skip


def an_import(state: str, **more: Any) -> httpx.Response:
    body = {"id": FARM, "state": state, "rows": 9, "rows_done": 4, "problem": None, **more}
    return httpx.Response(200, json=body, headers={"Retry-After": "2"})


def test_a_large_file_is_followed_until_it_ended(tmp_path: Path, pauses: list[float]):
    file = tmp_path / "large.csv"
    file.write_bytes(b"x" * 300_000)
    pages = [httpx.Response(200, json={"results": [{"row": 2}], "next": None})]
    answers = [an_import("waiting"), an_import("waiting"), an_import("running"), an_import("done", rows_done=9), *pages]
    seen: list[tuple[int, int]] = []

    def send(flyround: Flyround) -> None:
        done = flyround.send_file(FARM, file, Plan(atomic=True), watch=lambda *rows: seen.append(rows))
        assert done["results"] == [{"row": 2}]

    asked = asked_by(send, *answers)
    assert asked[0].headers["Prefer"] == "respond-async" and asked[0].url.params["atomic"] == "true"
    assert (seen, pauses) == ([(4, 9), (4, 9), (9, 9)], [2.0, 2.0])


def test_a_lost_answer_to_a_file_is_asked_for_under_the_same_key(tmp_path: Path):
    file = tmp_path / "small.csv"
    file.write_bytes(b"station")
    asked = asked_by(lambda flyround: flyround.send_file(FARM, file), httpx.Response(503), httpx.Response(200, json={}))
    keys = {each.headers["Idempotency-Key"] for each in asked}
    assert (len(asked), len(keys), "Prefer" in asked[0].headers) == (2, 1, False)


def test_an_import_that_was_refused_or_failed_says_so():
    why = {"code": "table_refused", "detail": "No column says the station.", "errors": []}
    with with_answers(iter([an_import("refused", problem=why)])) as flyround, pytest.raises(Refused, match="No column"):
        flyround.follow_import(FARM, FARM)
    with with_answers(iter([an_import("failed", problem={"detail": "Oh."})])) as flyround, pytest.raises(Away) as away:
        flyround.follow_import(FARM, FARM)
    assert away.value.only_this


@pytest.mark.parametrize(
    ("variables", "asked"),
    [
        ({}, "en"),
        ({"LANG": "C.UTF-8"}, "en"),
        ({"LANG": "en_US.UTF-8"}, "en"),
        ({"LANG": "es_MX.UTF-8"}, "es-MX, es;q=0.9, en;q=0.5"),
        ({"LANG": "en_US.UTF-8", "LC_ALL": "es"}, "es, en;q=0.5"),
        ({"LANG": "POSIX"}, "en"),
    ],
)
def test_answers_are_asked_for_in_the_languages_of_the_environment(variables: dict[str, str], asked: str):
    assert language(variables) == asked


def test_the_token_is_shown_by_nothing():
    assert "fly_key" not in repr(with_answers(iter([])))


def test_the_client_imports_nothing_of_the_rest():
    for path in Path("server/client").glob("*.py"):
        words = path.read_text()
        floors = ("django", "farms", "monitoring", "alerts", "server.api", "server.web", "server.demo")
        assert not any(f"from {name}" in words or f"import {name}" in words for name in floors)
