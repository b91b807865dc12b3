"""The committed OpenAPI document says what the code does, and can be browsed."""

from io import StringIO
from typing import Any

import pytest
import yaml
from django.core.management import call_command
from django.test import Client
from django.utils import translation

from server.api.documentation import DOCUMENT


@pytest.fixture(scope="module")
def document() -> dict[str, Any]:
    found: dict[str, Any] = yaml.safe_load(DOCUMENT.read_text())
    return found


def test_the_committed_document_is_current_and_valid():
    written = StringIO()
    with translation.override("en"):
        call_command("spectacular", validate=True, fail_on_warn=True, stdout=written)
    assert written.getvalue().strip() == DOCUMENT.read_text().strip(), (
        "Write it anew: python3 manage.py spectacular --file server/api/openapi.yaml"
    )


def test_it_is_openapi_3_1(document: dict[str, Any]):
    assert document["openapi"] == "3.1.0"


def test_every_operation_is_told_in_a_sentence_and_says_how_it_fails(document: dict[str, Any]):
    for path, operations in document["paths"].items():
        for method, operation in operations.items():
            assert operation["summary"].endswith("."), (path, method)
            assert "500" in operation["responses"], (path, method)
            if "{" in path:
                assert {"401", "403", "404"} <= set(operation["responses"]), (path, method)


def test_an_operation_whose_body_names_what_is_not_there_says_so(document: dict[str, Any]):
    assert "404" in document["paths"]["/api/v1/me/mail-choices"]["post"]["responses"]


def test_every_body_has_an_example(document: dict[str, Any]):
    bodies = {
        (path, method): content
        for path, operations in document["paths"].items()
        for method, operation in operations.items()
        for kind, content in operation.get("requestBody", {}).get("content", {}).items()
        if kind != "multipart/form-data"
    }
    assert [place for place, content in bodies.items() if "examples" not in content] == []


def test_every_reference_leads_somewhere(document: dict[str, Any]):
    def references(part: Any) -> Any:
        if isinstance(part, dict):
            yield from [part["$ref"]] if "$ref" in part else []
            part = list(part.values())
        for inner in part if isinstance(part, list) else []:
            yield from references(inner)

    for reference in set(references(document)):
        place = document
        for step in reference.removeprefix("#/").split("/"):
            place = place[step]


def test_all_codes_are_listed(document: dict[str, Any]):
    told = document["components"]["schemas"]["Problem"]["description"]
    assert all(f"`{code}`" in told for code in ("not_found", "not_json", "consent_already_given", "reading_refused"))


@pytest.mark.django_db
def test_document_and_documentation_need_no_account(client: Client):
    assert client.get("/api/v1/openapi.yaml").headers["Content-Type"] == "application/yaml"
    page = client.get("/api/v1/docs")
    assert page.status_code == 200
    assert b"<script>" not in page.content and b"<style" not in page.content
    script = client.get("/api/v1/docs?script=")
    assert script.headers["Content-Type"] == "application/javascript"
    assert b'"/api/v1/openapi.yaml"' in script.content.replace(b"\\u002D", b"-")
