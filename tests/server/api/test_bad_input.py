"""Bad input gets a problem with code, pointer and sentence, and nothing at all is stored."""

import json
from datetime import date
from typing import Any

import pytest

from farms.ids import uuid7
from farms.models import Farm, Season, User
from farms.services import close_season
from monitoring.models import Station
from tests.cast import acting
from tests.server.api.bodies import card_reading, everything_stored, round_body
from tests.server.api.senders import Sender
from tests.server.api.test_problems import assert_problem

pytestmark = pytest.mark.django_db
SIX_MEGABYTES = 6 * 1024 * 1024

# What is wrong with a reading: its values, where it points, and the code there.
WRONG_READINGS: dict[str, tuple[dict[str, Any], str, str]] = {
    "a count as text": ({"count": "40"}, "/count", "invalid"),
    "a count with decimals": ({"count": 40.5}, "/count", "invalid"),
    "a count that is true": ({"count": True}, "/count", "invalid"),
    "a negative count": ({"count": -1}, "/count", "count_negative"),
    "an absurd count": ({"count": 1_000_001}, "/count", "count_too_large"),
    "a count beyond the database's numbers": ({"count": 10**30}, "/count", "count_too_large"),
    "a count on a lost card": ({"count": 40, "reason": "lost"}, "/count", "count_beside_reason"),
    "neither count nor reason": ({"count": None}, "/count", "count_missing"),
    "an unknown reason": ({"count": None, "reason": "eaten"}, "/reason", "invalid_choice"),
    "a part without its size": ({"how": "part"}, "/fraction", "part_missing"),
    "a part of nothing": ({"how": "part", "fraction": 0}, "/fraction", "min_value"),
    "a part in quotes": ({"how": "part", "fraction": "0.5"}, "/fraction", "invalid"),
    "a cup of specks": ({"how": "cup"}, "/how", "cup_only_of_traps"),
    "animals on a card": ({"animals": [1, 2]}, "/animals", "animals_only_on_legs"),
    "an animal as text": ({"animals": [1, "2"]}, "/animals/1", "invalid"),
    "hung after it was taken down": ({"hung_on": "2026-06-01"}, "/hung_on", "taken_before_hung"),
    "three months up": ({"hung_on": "2026-03-01"}, "/hung_on", "too_long_up"),
    "a day in the future": ({"taken_on": "2026-06-02"}, "/taken_on", "future_date"),
    "a day that is none": ({"hung_on": "2026-02-30"}, "/hung_on", "invalid"),
    "a day as a moment": ({"hung_on": "2026-05-25T00:00:00Z"}, "/hung_on", "invalid"),
    "an unknown station": ({"station_id": str(uuid7())}, "/station_id", "unknown_station"),
    "a station's name where its id belongs": ({"station_id": "Card 4"}, "/station_id", "invalid"),
    "an id of its own making": ({"id": "one"}, "/id", "invalid"),
    "a field that isn't known": ({"cuont": 40}, "/cuont", "unknown"),
    "yes for true": ({"at_least": "yes"}, "/at_least", "invalid"),
    "text without end": ({"pen": "x" * 61}, "/pen", "max_length"),
    "a NUL in text": ({"pen": "a\x00b"}, "/pen", "null_characters_not_allowed"),
}
WRONG_ROUNDS: dict[str, tuple[Any, str]] = {
    "a list": ([], ""),
    "text": ("round", ""),
    "null": (None, ""),
    "no day": ({}, "/walked_on"),
    "a day in the future": ({"walked_on": "2026-06-02"}, "/walked_on"),
    "a day before the season": ({"walked_on": "2026-04-05"}, "/walked_on"),
    "readings that are no list": ({"walked_on": "2026-06-01", "readings": {}}, "/readings"),
    "a reading that is no object": ({"walked_on": "2026-06-01", "readings": [4]}, "/readings/0"),
    "a moment without offset": ({"walked_on": "2026-06-01", "observed_at": "2026-06-01T07:00:00"}, "/observed_at"),
    "a note without text": ({"walked_on": "2026-06-01", "notes": [{"id": str(uuid7()), "text": " "}]}, "/notes/0/text"),
}


@pytest.fixture
def nothing_stored(northfield: Farm) -> Any:
    """Compare every table and the chain before and after."""
    before = everything_stored(northfield)
    yield
    assert everything_stored(northfield) == before


def put_round(sender: Sender, farm: Farm, body: Any) -> Any:
    return sender.put(f"/api/v1/farms/{farm.id}/rounds/{uuid7()}", body)


@pytest.mark.parametrize("wrong", WRONG_READINGS)
def test_a_wrong_reading(program: Sender, northfield: Farm, cards: list[Station], nothing_stored: None, wrong: str):
    values, pointer, code = WRONG_READINGS[wrong]
    before = everything_stored(northfield)
    readings = [card_reading(cards[0]), card_reading(cards[1]), {**card_reading(cards[2]), **values}]
    problem = assert_problem(put_round(program, northfield, round_body(readings)), 422, problem_code(code))
    assert {"pointer": f"/readings/2{pointer}", "code": code} in [
        {"pointer": error["pointer"], "code": error["code"]} for error in problem["errors"]
    ]
    assert everything_stored(northfield) == before


def problem_code(code: str) -> str:
    """Shape is refused as invalid, what the rules find as reading_refused."""
    shape = {"invalid", "invalid_choice", "unknown", "min_value", "max_length", "null_characters_not_allowed"}
    return "invalid" if code in shape else "reading_refused"


@pytest.mark.parametrize("wrong", WRONG_ROUNDS)
def test_a_wrong_round(program: Sender, northfield: Farm, nothing_stored: None, wrong: str):
    body, pointer = WRONG_ROUNDS[wrong]
    response = program.generic(
        "PUT", f"/api/v1/farms/{northfield.id}/rounds/{uuid7()}", json.dumps(body), "application/json"
    )
    assert response.status_code == 422, response.content
    problem = assert_problem(response, 422, response.json()["code"])
    assert pointer in [error["pointer"] for error in problem["errors"]]


def test_every_fault_is_named_at_once(program: Sender, northfield: Farm, cards: list[Station], nothing_stored: None):
    readings = [card_reading(cards[0], count=-1), card_reading(cards[1]), card_reading(cards[2], taken_on="2026-06-09")]
    problem = assert_problem(put_round(program, northfield, round_body(readings)), 422, "reading_refused")
    assert {error["pointer"] for error in problem["errors"]} == {"/readings/0/count", "/readings/2/taken_on"}


def test_a_closed_season(anna: User, program: Sender, northfield: Farm, cards: list[Station]):
    with acting(anna):
        close_season(season=Season.objects.get(farm=northfield), closes_on=date(2026, 5, 27))
    before = everything_stored(northfield)
    problem = assert_problem(
        put_round(program, northfield, round_body([card_reading(cards[0])])), 422, "reading_refused"
    )
    assert problem["errors"][0]["code"] == "closed_season"
    assert everything_stored(northfield) == before
