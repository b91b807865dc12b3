"""Many readings at once, from a file and as JSON: what became of each row is told, and all is stored only once."""

import json
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from farms.ids import uuid7
from farms.models import Farm, User
from monitoring.models import Reading, Round
from tests.cast import as_factory
from tests.server.api.bodies import card_reading, everything_stored, round_body
from tests.server.api.senders import Sender, session_of
from tests.server.api.test_problems import assert_problem

pytestmark = pytest.mark.django_db

GOOD = """station,hung on,taken on,count,reason
Card 1,2026-05-18,2026-05-25,31,
Card 2,2026-05-18,2026-05-25,,lost
Card 1,2026-05-25,2026-06-01,42,
"""
# Card 9 isn't there, -3 is no count, and 2026-06-09 is still to come.
BAD = GOOD + "Card 9,2026-05-18,2026-05-25,5,\nCard 3,2026-05-18,2026-05-25,-3,\nCard 4,2026-06-01,2026-06-09,5,\n"
ROWS = [
    {"station": "Card 1", "hung_on": "2026-05-18", "taken_on": "2026-05-25", "count": 31},
    {"station": "Card 2", "hung_on": "2026-05-18", "taken_on": "2026-05-25", "reason": "lost"},
    {"station": "Leg count 1", "taken_on": "2026-05-25", "animals": [3, 0, 4]},
]


def send_file(sender: Sender, farm: Farm, content: str | bytes, query: str = "") -> Any:
    body = content.encode() if isinstance(content, str) else content
    return sender.generic("POST", f"/api/v1/farms/{farm.id}/imports{query}", body, "text/csv")


def send_rows(sender: Sender, farm: Farm, rows: Any, query: str = "") -> Any:
    return sender.post(f"/api/v1/farms/{farm.id}/readings/bulk{query}", {"readings": rows})


def bad_cells(answer: Any) -> list[tuple[int, str, str]]:
    return [(row["row"], bad["column"], bad["code"]) for row in answer["results"] for bad in row["errors"]]


def test_a_dry_run_says_what_would_be_stored_and_names_every_bad_cell(program: Sender, northfield: Farm):
    before = everything_stored(northfield)
    answer = send_file(program, northfield, BAD, "?dry_run=true").json()
    assert (answer["dry_run"], answer["stored"], answer["refused"], answer["rounds"]) == (True, 3, 3, 2)
    assert bad_cells(answer) == [
        (5, "station", "unknown_station"),
        (6, "count", "count_negative"),
        (7, "taken on", "future_date"),
    ]
    assert everything_stored(northfield) == before


def test_all_or_nothing_is_taken_where_that_is_asked_for(program: Sender, northfield: Farm):
    before = everything_stored(northfield)
    problem = assert_problem(send_file(program, northfield, BAD, "?atomic=true"), 422, "table_refused")
    assert [error["pointer"] for error in problem["errors"]] == ["/rows/5/station", "/rows/6/count", "/rows/7/taken on"]
    assert everything_stored(northfield) == before
    assert send_file(program, northfield, GOOD, "?atomic=true").json()["stored"] == 3


def test_of_each_row_is_told_what_became_of_it(program: Sender, northfield: Farm):
    send_file(program, northfield, "\n".join(GOOD.splitlines()[:2]))
    answer = send_file(program, northfield, BAD).json()
    assert (answer["atomic"], answer["stored"], answer["known"], answer["refused"]) == (False, 2, 1, 3)
    told = [(each["row"], each["outcome"]) for each in answer["results"]]
    assert told == [(2, "known"), (3, "stored"), (4, "stored"), (5, "refused"), (6, "refused"), (7, "refused")]
    refused = answer["results"][4]
    assert (refused["id"], refused["errors"][0]["value"]) == (None, "-3")
    assert refused["errors"][0]["reason"] == "A count can't be less than 0. Give what was counted, from 0."
    with as_factory():
        assert set(Reading.objects.values_list("count", "reason")) == {(31, ""), (42, ""), (None, "lost")}
        stored = {str(each) for each in Reading.objects.values_list("id", flat=True)}
    assert {each["id"] for each in answer["results"][:3]} == stored


def test_a_reading_that_a_phone_sent_is_known_by_the_phones_id(program: Sender, northfield: Farm, cards: Any):
    sent = card_reading(cards[0], count=7)
    program.put(f"/api/v1/farms/{northfield.id}/rounds/{uuid7()}", round_body([sent]))
    row = {"station": "Card 1", "hung_on": sent["hung_on"], "taken_on": "2026-06-01", "count": 7}
    (told,) = send_rows(program, northfield, [row]).json()["results"]
    assert told == {"row": 0, "id": sent["id"], "outcome": "known", "errors": []}


def test_a_row_that_is_no_text_is_told_of_in_text(program: Sender, northfield: Farm):
    """Half a pair of surrogates, and NUL, which neither UTF-8 nor the database takes."""
    rows = [{**ROWS[0], "pen": "\ud800"}, {**ROWS[0], "\ud800\x00": 1}, {**ROWS[1], "weather": "a\x00b"}]
    path, body = f"/api/v1/farms/{northfield.id}/readings/bulk", json.dumps({"readings": rows})
    answer = program.generic("POST", path, body, "application/json").json()
    assert (answer["stored"], answer["refused"]) == (0, 3)
    assert_problem(program.generic("POST", f"{path}?atomic=true", body, "application/json"), 422, "table_refused")


def test_a_file_sent_twice_is_stored_once(program: Sender, northfield: Farm):
    first = send_file(program, northfield, GOOD).json()
    stored = everything_stored(northfield)
    second = send_file(program, northfield, GOOD).json()
    assert (first["stored"], first["known"], second["stored"], second["known"]) == (3, 0, 0, 3)
    assert everything_stored(northfield) == stored


def test_a_form_may_carry_the_file(anna: User, northfield: Farm):
    upload = {"file": SimpleUploadedFile("season.csv", GOOD.encode(), content_type="text/csv")}
    response = session_of(anna).post(f"/api/v1/farms/{northfield.id}/imports", upload, format="multipart")
    assert (response.status_code, response.json()["stored"]) == (200, 3)


def test_a_form_of_a_session_needs_its_csrf_token(anna: User, northfield: Farm):
    browser = Sender(enforce_csrf_checks=True)
    browser.force_login(anna)
    browser.get("/api/v1/docs?script=")
    header = {"X-CSRFToken": browser.cookies["csrftoken"].value}
    for headers, status in (({}, 403), (header, 200)):
        upload = {"file": SimpleUploadedFile("season.csv", GOOD.encode(), content_type="text/csv")}
        path = f"/api/v1/farms/{northfield.id}/imports"
        assert browser.post(path, upload, format="multipart", headers=headers).status_code == status


def test_a_form_without_a_file(anna: User, northfield: Farm):
    response = session_of(anna).post(f"/api/v1/farms/{northfield.id}/imports", {"fiel": "x"}, format="multipart")
    problem = assert_problem(response, 422, "file_missing")
    assert problem["errors"][0]["pointer"] == "/file"


def test_the_order_of_day_and_month_is_asked_for(program: Sender, northfield: Farm):
    file = GOOD.replace("2026-05-18", "1/6/2026").replace("2026-05-25", "2/6/2026").replace("2026-06-01", "3/6/2026")
    assert_problem(send_file(program, northfield, file, "?dry_run=true"), 422, "dates_unclear")
    assert send_file(program, northfield, file, "?dry_run=true&order=month_first").status_code == 200
    assert_problem(send_file(program, northfield, file, "?order=year_first"), 422, "bad_query")


@pytest.mark.parametrize(
    ("content", "status", "code"),
    [
        (b"station,count\n" + b"x" * (6 * 1024 * 1024), 413, "file_too_large"),
        ("station,hung on,taken on,count\nKälberstall,2026-05-18,2026-05-25,3\n".encode("latin-1"), 422, "not_utf8"),
        (b"", 422, "empty_file"),
        (b"\x00\x01\x02", 422, "holds_nul"),
        (b"a,b,c\n1,2,3\n", 422, "column_unknown"),
    ],
    ids=["6 MB", "not UTF-8", "empty", "binary", "another table"],
)
def test_a_file_that_is_none(program: Sender, northfield: Farm, content: bytes, status: int, code: str):
    before = everything_stored(northfield)
    problem = assert_problem(send_file(program, northfield, content), status, code)
    assert problem["errors"][0]["pointer"] == ""
    assert everything_stored(northfield) == before


def test_a_form_with_six_megabytes(anna: User, northfield: Farm):
    upload = {"file": SimpleUploadedFile("season.csv", b"x" * (6 * 1024 * 1024), content_type="text/csv")}
    response = session_of(anna).post(f"/api/v1/farms/{northfield.id}/imports", upload, format="multipart")
    assert_problem(response, 413, "file_too_large")


def test_rows_come_as_json(program: Sender, northfield: Farm):
    answer = send_rows(program, northfield, ROWS).json()
    assert (answer["stored"], answer["rounds"], answer["refused"]) == (3, 1, 0)
    assert send_rows(program, northfield, ROWS).json()["known"] == 3
    with as_factory():
        assert Round.objects.get(farm=northfield).source == "program"


def test_a_bad_row_is_pointed_at(program: Sender, northfield: Farm):
    before = everything_stored(northfield)
    rows = [*ROWS, {**ROWS[0], "station": "Card 3", "count": "31"}, {**ROWS[0], "station": "Card 4", "cuont": 1}, 7]
    problem = assert_problem(send_rows(program, northfield, rows, "?atomic=true"), 422, "table_refused")
    assert {(error["pointer"], error["code"]) for error in problem["errors"]} == {
        ("/readings/3/count", "not_a_number"),
        ("/readings/4/cuont", "unknown_value"),
        ("/readings/5", "not_an_object"),
    }
    assert everything_stored(northfield) == before
    answer = send_rows(program, northfield, rows).json()
    assert answer["stored"] == 3
    assert bad_cells(answer) == [(3, "count", "not_a_number"), (4, "cuont", "unknown_value"), (5, "", "not_an_object")]


@pytest.mark.parametrize("body", [[], {"rows": []}, {"readings": {}}, {"readings": [], "dry_run": True}])
def test_a_bulk_body_of_another_form(program: Sender, northfield: Farm, body: Any):
    path = f"/api/v1/farms/{northfield.id}/readings/bulk"
    assert_problem(program.generic("POST", path, json.dumps(body), "application/json"), 422, "invalid")


def test_more_than_fifty_thousand_rows(program: Sender, northfield: Farm):
    assert_problem(send_rows(program, northfield, [ROWS[0]] * 50_001), 413, "too_many_rows")


def test_a_query_that_is_not_known(program: Sender, northfield: Farm):
    problem = assert_problem(send_rows(program, northfield, ROWS, "?dryrun=true"), 422, "bad_query")
    assert problem["errors"][0]["parameter"] == "dryrun"
