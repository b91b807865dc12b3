"""Reading what was counted, and correcting it."""

from typing import Any

import pytest

from farms.ids import uuid7
from farms.models import Farm
from monitoring.models import Reading, Station
from tests.cast import as_factory
from tests.server.api.bodies import card_reading, everything_stored, round_body
from tests.server.api.senders import Sender
from tests.server.api.test_problems import assert_problem

pytestmark = pytest.mark.django_db


@pytest.fixture
def counted(program: Sender, northfield: Farm, cards: list[Station]) -> list[dict[str, Any]]:
    """Cards 1 to 3 as they were sent, with 40, 41 and 42 specks."""
    readings = [card_reading(card, count=40 + place) for place, card in enumerate(cards[:3])]
    assert program.put(f"/api/v1/farms/{northfield.id}/rounds/{uuid7()}", round_body(readings)).status_code == 201
    return readings


def correct(sender: Sender, farm: Farm, reading: dict[str, Any], **values: Any) -> Any:
    path = f"/api/v1/farms/{farm.id}/readings/{reading['id']}/corrections"
    return sender.post(path, {"id": str(uuid7()), **values})


def test_readings_are_listed_page_after_page(reader: Sender, northfield: Farm, counted: list[dict[str, Any]]):
    page, found = f"/api/v1/farms/{northfield.id}/readings?limit=2", []
    while page:
        answer = reader.get(page).json()
        found += [row["id"] for row in answer["results"]]
        page = answer["next"]
    assert sorted(found) == sorted(reading["id"] for reading in counted)


def test_readings_are_chosen_by_day_method_and_station(
    reader: Sender, northfield: Farm, cards: list[Station], counted: list[dict[str, Any]]
):
    path = f"/api/v1/farms/{northfield.id}/readings"
    numbers = {
        query: len(reader.get(f"{path}?{query}").json()["results"])
        for query in ("method=card", "method=trap", "since=2026-06-01", "until=2026-05-31", f"station_id={cards[0].id}")
    }
    assert list(numbers.values()) == [3, 0, 3, 0, 1]
    problem = assert_problem(reader.get(f"{path}?since=yesterday&method=tape"), 422, "bad_query")
    assert {error["parameter"] for error in problem["errors"]} == {"since", "method"}


def test_a_correction_takes_the_readings_place_and_both_stay(
    program: Sender, northfield: Farm, counted: list[dict[str, Any]]
):
    made = correct(program, northfield, counted[0], kind="miscounted", count=61)
    assert made.status_code == 201, made.content
    answer = made.json()
    assert (answer["count"], answer["corrects_id"], answer["correction_kind"]) == (61, counted[0]["id"], "miscounted")
    assert (answer["hung_on"], answer["taken_on"]) == ("2026-05-25", "2026-06-01")
    listed = program.get(f"/api/v1/farms/{northfield.id}/readings").json()["results"]
    assert sorted(row["count"] for row in listed) == [41, 42, 61]
    with as_factory():
        assert Reading.objects.filter(farm=northfield).count() == 4


def test_a_reading_is_withdrawn(program: Sender, northfield: Farm, counted: list[dict[str, Any]]):
    assert correct(program, northfield, counted[0], kind="withdrawn").status_code == 201
    listed = program.get(f"/api/v1/farms/{northfield.id}/readings").json()["results"]
    assert sorted(row["count"] for row in listed) == [41, 42]


def test_only_the_latest_reading_is_corrected(program: Sender, northfield: Farm, counted: list[dict[str, Any]]):
    later = correct(program, northfield, counted[0], kind="miscounted", count=61).json()
    problem = assert_problem(
        correct(program, northfield, counted[0], kind="miscounted", count=62), 409, "already_corrected"
    )
    assert problem["details"]["by"] == later["id"]


@pytest.mark.parametrize(
    ("values", "pointer"),
    [
        ({"count": 61}, "/kind"),
        ({"kind": "because", "count": 61}, "/kind"),
        ({"kind": "miscounted", "count": -1}, "/count"),
        ({"kind": "miscounted", "count": 5, "reason": "lost"}, "/count"),
        ({"kind": "miscounted"}, "/count"),
        ({"kind": "wrong_date", "count": 40, "taken_on": "2026-06-02"}, "/taken_on"),
        ({"kind": "wrong_station", "count": 40, "station_id": str(uuid7())}, "/station_id"),
    ],
)
def test_a_correction_that_can_not_be_right(
    program: Sender, northfield: Farm, counted: list[dict[str, Any]], values: dict[str, Any], pointer: str
):
    before = everything_stored(northfield)
    response = correct(program, northfield, counted[0], **values)
    problem = assert_problem(response, 422, response.json()["code"])
    assert pointer in [error["pointer"] for error in problem["errors"]]
    assert everything_stored(northfield) == before


def test_a_reading_that_is_not_there(program: Sender, northfield: Farm):
    assert_problem(correct(program, northfield, {"id": uuid7()}, kind="withdrawn"), 404, "not_found")
