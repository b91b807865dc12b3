"""Within /api/v1 things are only added: what is told as new, gone or refusing more."""

from copy import deepcopy
from typing import Any

import pytest
import yaml

from server.api.documentation import DOCUMENT
from server.api.surface import difference, surface
from server.management.commands.api_difference import PUBLISHED

FARM = "/api/v1/farms/{farm_id}"


@pytest.fixture(scope="module")
def document() -> dict[str, Any]:
    found: dict[str, Any] = yaml.safe_load(DOCUMENT.read_text())
    return found


def changed(document: dict[str, Any], change: Any) -> Any:
    other = deepcopy(document)
    change(other)
    return difference(surface(document), surface(other))


def test_nothing_that_was_published_is_gone(document: dict[str, Any]):
    found = difference(PUBLISHED.read_text().splitlines(), surface(document))
    assert (found.gone, found.refusing) == ([], [])


def test_a_line_says_what_a_program_counts_on(document: dict[str, Any]):
    lines = surface(document)
    assert f"GET {FARM}/rounds" in lines
    assert f"GET {FARM}/rounds query since: string date optional" in lines
    assert "RoundBody.walked_on: string date needed" in lines
    assert any(line.startswith("Round.walked_on: ") and line.endswith(" always") for line in lines)


def test_an_address_more_is_new_and_nothing_else(document: dict[str, Any]):
    found = changed(document, lambda other: other["paths"].update({"/api/v1/new": other["paths"][FARM]}))
    assert found.new and found.is_additive


@pytest.mark.parametrize(
    "take",
    [
        lambda other: other["paths"].pop(f"{FARM}/weeks"),
        lambda other: other["paths"][f"{FARM}/weeks"]["get"]["parameters"].pop(0),
        lambda other: other["components"]["schemas"]["Round"]["properties"].pop("source"),
        lambda other: other["components"]["schemas"]["Round"]["required"].remove("source"),
        lambda other: other["components"]["schemas"]["Round"]["properties"].update(source={"type": "integer"}),
    ],
    ids=["an address", "a parameter", "a field", "that it is always there", "its type"],
)  # fmt: skip
def test_what_is_taken_away_is_told(document: dict[str, Any], take: Any):
    assert not changed(document, take).is_additive


def test_a_new_field_that_is_needed_refuses_what_was_taken(document: dict[str, Any]):
    def need(other: dict[str, Any]) -> None:
        body = other["components"]["schemas"]["RoundBody"]
        body["properties"]["boots"] = {"type": "boolean"}
        body["required"].append("boots")

    found = changed(document, need)
    assert (found.gone, found.refusing) == ([], ["RoundBody.boots: boolean needed"])
