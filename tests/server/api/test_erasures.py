"""Erasures by the API: an owner's, of a farm or of somebody who counts; a person's of their own account."""

import pytest

from farms.models import Farm, User
from farms.services import add_person
from tests.cast import NOW, acting
from tests.server.api.senders import Sender, session_of
from tests.server.api.test_problems import assert_problem

pytestmark = pytest.mark.django_db


def test_a_farm_is_asked_for_by_its_name_and_taken_back(anna: User, northfield: Farm):
    owner, address = session_of(anna), f"/api/v1/farms/{northfield.id}/erasures"
    refused = owner.post(address, {"farm_name": "Southmead"})
    assert_problem(refused, 422, "farm_name_differs")
    made = owner.post(address, {"farm_name": "northfield"})
    assert made.status_code == 201
    told = made.json()
    assert (told["person_id"], told["asked_by_id"], told["done_at"]) == (None, str(anna.id), None)
    assert_problem(owner.post(address, {"farm_name": "Northfield"}), 409, "erasure_asked_already")
    back = f"{address}/{told['id']}/taken-back"
    assert owner.post(back, {}).json()["taken_back_at"] is not None
    assert_problem(owner.post(back, {}), 409, "erasure_done")
    assert [each["id"] for each in owner.get(address).json()["results"]] == [told["id"]]


def test_somebody_who_counts(anna: User, northfield: Farm):
    owner, address = session_of(anna), f"/api/v1/farms/{northfield.id}/erasures/people"
    with acting(anna):
        person = add_person(farm=northfield, name="Pablo", initials="PI", now=NOW)
    made = owner.post(address, {"person_id": str(person.id), "words": True})
    assert made.status_code == 201 and made.json()["words"] is True
    assert_problem(owner.post(address, {"person_id": str(northfield.id)}), 404, "not_found")


def test_ones_own_account_and_no_keys(ben: User, program: Sender, northfield: Farm):
    own, address = session_of(ben), "/api/v1/me/erasure"
    assert_problem(own.get(address), 404, "not_found")
    assert own.post(address, {"words": False}).status_code == 201
    assert own.get(address).json()["due_at"]
    assert own.delete(address).status_code == 204
    assert_problem(own.delete(address), 409, "erasure_done")
    for answer in (program.get(address), program.post(address, {}), program.delete(address)):
        assert_problem(answer, 403, "forbidden")
