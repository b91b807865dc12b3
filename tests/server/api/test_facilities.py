"""Barns and lots."""

import pytest

from farms.models import Farm, User
from tests.server.api.senders import session_of
from tests.server.api.test_problems import assert_problem

pytestmark = pytest.mark.django_db


def test_an_owner_adds_a_barn_and_reads_it_back(anna: User, northfield: Farm):
    owner, path = session_of(anna), f"/api/v1/farms/{northfield.id}/facilities"
    made = owner.post(path, {"name": "Silo", "kind": "silo", "position": 9})
    assert made.status_code == 201
    assert owner.get(path).json()["results"][-1] == made.json()


def test_two_barns_of_one_name(anna: User, northfield: Farm):
    response = session_of(anna).post(
        f"/api/v1/farms/{northfield.id}/facilities", {"name": "Calf barn", "kind": "other"}
    )
    problem = assert_problem(response, 409, "facility_name_taken")
    assert problem["errors"][0]["pointer"] == "/name"


def test_what_is_wrong_is_named_field_by_field(anna: User, northfield: Farm):
    body = {"name": " ", "kind": "castle", "position": "1", "color": "red"}
    problem = assert_problem(session_of(anna).post(f"/api/v1/farms/{northfield.id}/facilities", body), 422, "invalid")
    assert {(error["pointer"], error["code"]) for error in problem["errors"]} == {
        ("/name", "blank"), ("/kind", "invalid_choice"), ("/position", "invalid"), ("/color", "unknown"),
    }  # fmt: skip
