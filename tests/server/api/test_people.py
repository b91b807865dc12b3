"""The people who count."""

import pytest

from farms.models import Farm, User
from tests.server.api.senders import Sender, session_of
from tests.server.api.test_problems import assert_problem

pytestmark = pytest.mark.django_db


def test_a_name_is_added_offered_to_the_phone_and_ended(anna: User, phone: Sender, northfield: Farm):
    owner, path = session_of(anna), f"/api/v1/farms/{northfield.id}/people"
    made = owner.post(path, {"name": "Rosalind Quist", "initials": "RQ"})
    assert made.status_code == 201
    assert phone.get(path).json()["results"] == [made.json()]
    assert owner.delete(f"{path}/{made.json()['id']}").status_code == 204
    assert phone.get(path).json()["results"] == []


def test_a_program_that_only_reads_gets_no_names(reader: Sender, northfield: Farm):
    assert_problem(reader.get(f"/api/v1/farms/{northfield.id}/people"), 403, "forbidden")


def test_initials_that_are_too_long(anna: User, northfield: Farm):
    body = {"name": "Rosalind Quist", "initials": "ROSALIND"}
    problem = assert_problem(session_of(anna).post(f"/api/v1/farms/{northfield.id}/people", body), 422, "invalid")
    assert problem["errors"][0]["pointer"] == "/initials"
