"""Stations, their siting, and what a round walks."""

from typing import Any
from uuid import uuid4

import pytest

from farms.models import Facility, Farm, User
from monitoring.models import Station
from tests.server.api.senders import Sender, session_of
from tests.server.api.test_problems import assert_problem

pytestmark = pytest.mark.django_db


def new_station(facility: Facility, **values: Any) -> dict[str, Any]:
    return {"facility_id": str(facility.id), "method": "card", "number": 6, "since": "2026-06-01", **values}


def test_an_adviser_adds_a_station_and_sites_it_anew(dana: User, northfield: Farm, calf_barn: Facility):
    adviser, path = session_of(dana), f"/api/v1/farms/{northfield.id}/stations"
    made = adviser.post(path, new_station(calf_barn, near="water", x=0.25, y=1, position=7))
    assert made.status_code == 201, made.content
    station = made.json()
    assert (station["label"], station["siting"]["near"], station["siting"]["y"]) == ("Card 6", "water", 1.0)
    moved = adviser.post(f"{path}/{station['id']}/sitings", {"since": "2026-06-02", "windy": True})
    assert (moved.status_code, moved.json()["near"]) == (201, "nothing")
    listed = next(row for row in adviser.get(path).json()["results"] if row["id"] == station["id"])
    assert listed["siting"]["windy"] is True
    before = adviser.get(f"{path}?on=2026-06-01").json()["results"]
    assert next(row for row in before if row["id"] == station["id"])["siting"]["windy"] is False


def test_a_number_that_is_taken(anna: User, northfield: Farm, calf_barn: Facility, cards: list[Station]):
    response = session_of(anna).post(f"/api/v1/farms/{northfield.id}/stations", new_station(calf_barn, number=5))
    assert_problem(response, 409, "station_number_taken")


def test_half_a_place_on_the_plan(anna: User, northfield: Farm, calf_barn: Facility):
    response = session_of(anna).post(f"/api/v1/farms/{northfield.id}/stations", new_station(calf_barn, x=0.5))
    problem = assert_problem(response, 422, "station_refused")
    assert problem["errors"][0]["pointer"] == "/x"


def test_a_barn_of_nobody(anna: User, northfield: Farm, calf_barn: Facility, southmead: Farm):
    for facility_id in (uuid4(), southmead.id):
        body = new_station(calf_barn, facility_id=str(facility_id))
        problem = assert_problem(
            session_of(anna).post(f"/api/v1/farms/{northfield.id}/stations", body), 422, "facility_unknown"
        )
        assert problem["errors"][0]["pointer"] == "/facility_id"


def test_a_station_of_another_farm_is_not_found(
    anna: User, carla: User, northfield: Farm, southmead: Farm, cards: list[Station]
):
    path = f"/api/v1/farms/{southmead.id}/stations/{cards[0].id}/sitings"
    assert_problem(session_of(carla).post(path, {"since": "2026-06-01"}), 404, "not_found")


def test_the_sheet_names_every_station_in_walking_order(program: Sender, northfield: Farm):
    sheet = program.get(f"/api/v1/farms/{northfield.id}/round-sheet").json()["results"]
    assert [place["station"]["label"] for place in sheet] == [
        "Card 1", "Card 2", "Card 3", "Card 4", "Card 5", "Trap 1", "Trap 2", "Leg count 1",
    ]  # fmt: skip
    assert all(place["hangings"] == [] for place in sheet)
