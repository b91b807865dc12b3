"""The client asks for nothing that isn't in the committed OpenAPI document, and sends what its schemas say."""

import json
import re
from datetime import date
from pathlib import Path
from typing import Any

import httpx
import jsonschema
import pytest
import yaml

from server.client import Flyround, Plan
from server.client import operations as ours
from server.client.book import Book
from server.client.files import MEGABYTES
from server.client.ids import with_ids
from server.client.operations import Operation
from server.client.patience import Patience
from server.client.rounds import REASONS, REQUIRED, round_of_words
from server.client.season import FORMATS, Export
from tests.architecture.source import ROOT

FARM = "0197d0c2-5c00-7000-8000-000000000001"
STATIONS = [
    {"label": label, "id": FARM[:-1] + end} for label, end in (("Card 4", "2"), ("Card 5", "3"), ("Leg 1", "4"))
]


@pytest.fixture(scope="module")
def document() -> dict[str, Any]:
    return ours.document_in((ROOT / "server/api/openapi.yaml").read_bytes())


def told(document: dict[str, Any], method: str, address: str) -> dict[str, Any] | None:
    """What the document says of a request, if it knows it."""
    for path, methods in document["paths"].items():
        if re.fullmatch(re.sub(r"\\\{\w+\\\}", "[^/]+", re.escape(path)), address) and method.lower() in methods:
            return dict(methods[method.lower()])
    return None


def checked(document: dict[str, Any], asked: httpx.Request) -> None:
    """Fail where a JSON body isn't what the document's schema says, or a query parameter isn't known."""
    operation = told(document, asked.method, asked.url.path)
    assert operation, asked
    names = {each["name"] for each in operation.get("parameters", ()) if each["in"] == "query"}
    assert set(asked.url.params) <= names
    if asked.headers.get("Content-Type") == "application/json":
        schema = operation["requestBody"]["content"]["application/json"]["schema"]
        schema = {
            **schema,
            "components": document["components"],
            "$schema": jsonschema.Draft202012Validator.META_SCHEMA["$id"],
        }
        jsonschema.Draft202012Validator(schema, format_checker=jsonschema.FormatChecker()).validate(
            json.loads(asked.content)
        )


@pytest.mark.parametrize("operation", ours.ALL, ids=lambda each: f"{each.method} {each.path}")
def test_every_request_is_in_the_document(document: dict[str, Any], operation: Operation):
    names = {"farm_id": FARM, "round_id": FARM, "import_id": FARM, "file": "readings.csv"}
    found = told(document, operation.method, operation.address(**names))
    assert found, operation


def test_every_request_that_the_client_makes_is_one_of_those():
    text = "".join(path.read_text() for path in (ROOT / "server/client").glob("*.py") if path.name != "operations.py")
    assert not re.search(r"api/v1", text)
    assert set(re.findall(r"operations\.([A-Z_]+)", text)) - {"DOCUMENT"} == {
        name for name, value in vars(ours).items() if value in ours.ALL
    }


@pytest.fixture
def asked() -> list[httpx.Request]:
    return []


@pytest.fixture
def flyround(asked: list[httpx.Request]) -> Flyround:
    def answer(request: httpx.Request) -> httpx.Response:
        asked.append(request)
        return httpx.Response(200, json={"id": request.url.path.rpartition("/")[2], "results": []})

    return Flyround("http://flyround.test", "fly_key", Patience(0), httpx.MockTransport(answer))


def test_a_round_of_words_is_what_the_schema_says(
    document: dict[str, Any], flyround: Flyround, asked: list[httpx.Request], tmp_path: Path
):
    counts = ["Card 4=61", "card 5=300+", "Card 4=lost", "Leg 1=3,0,5,2"]
    body = round_of_words(date(2026, 6, 1), counts, date(2026, 5, 25), ["Card 5"], STATIONS)
    with Book(tmp_path / "book") as book, book.change() as db:
        round_id, body = with_ids(db, "http://flyround.test", FARM, body)
    flyround.send_round(FARM, round_id, {**body, "submitted_at": "2026-06-01T12:00:00+00:00"})
    assert [len(body[name]) for name in ("readings", "hung")] == [4, 1]
    checked(document, asked[0])
    flyround.send_round(FARM, round_id, {**body, "walked_on": 7})
    with pytest.raises(jsonschema.ValidationError):
        checked(document, asked[1])


def test_files_and_readings_are_asked_for_as_the_document_says(
    document: dict[str, Any], flyround: Flyround, asked: list[httpx.Request]
):
    flyround.begin_import(FARM, b"station", Plan("day_first", dry_run=True), key="")
    flyround.send_readings(FARM, [{"station": "Card 4", "taken_on": "2026-06-01", "count": 3}], Plan(dry_run=True))
    list(flyround.results(FARM))
    for each in asked:
        checked(document, each)


def test_what_a_round_must_have_is_what_the_document_asks_for(document: dict[str, Any]):
    schemas = document["components"]["schemas"]
    names = {"round": "RoundBody", "readings": "ReadingBody", "hung": "HungBody", "notes": "NoteBody"}
    # The ids are made where they are missing.
    assert {part: set(needed) for part, needed in REQUIRED.items()} == {
        part: set(schemas[name]["required"]) - {"id"} for part, name in names.items()
    }
    assert set(REASONS) == {each for each in schemas["ReadingBody"]["properties"]["reason"]["enum"] if each}


def test_the_largest_file_is_the_one_that_the_document_tells(document: dict[str, Any]):
    operation = told(document, "POST", ours.SEND_FILE.address(farm_id=FARM))
    assert operation and f"at most {MEGABYTES} MB" in operation["summary"] + operation["description"]


def test_sent_at_is_said_where_the_document_knows_it(document: dict[str, Any]):
    fields = ours.fields_of(document, ours.SEND_ROUND)
    assert {"walked_on", "readings", "submitted_at"} <= fields
    text = yaml.safe_dump(document).encode()
    assert ours.fields_of(ours.document_in(text), ours.SEND_ROUND) == fields
    assert ours.fields_of(document, Operation("GET", "/nowhere")) == frozenset()


@pytest.mark.parametrize("text", [b"<html>", b"[1, 2]", b"{", b"\x00"])
def test_what_is_no_document_is_told(text: bytes):
    with pytest.raises(ValueError, match="not"):
        ours.document_in(text)


@pytest.mark.parametrize("table_format", FORMATS)
def test_every_file_of_an_export_is_in_the_document(document: dict[str, Any], table_format: str):
    listed = [
        {"name": "readings", "formats": FORMATS, "filters": ["method", "since", "until"]},
        {"name": "stations", "formats": FORMATS, "filters": ["method"]},
    ]
    files = Export("http://flyround.test", FARM, table_format, "2026-05-01").files_of(listed)
    assert [bool(query) for query in files.values()] == [True, False, False, False, False]
    operations = {file: told(document, "GET", ours.EXPORT.address(farm_id=FARM, file=file)) for file in files}
    for file, operation in operations.items():
        assert operation, file
        assert set(files[file]) <= {each["name"] for each in operation["parameters"] if each["in"] == "query"}
