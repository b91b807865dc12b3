"""What a farm agrees to."""

from uuid import uuid4

import pytest

from farms.models import Farm, User
from tests.server.api.senders import Sender, session_of
from tests.server.api.test_problems import assert_problem

pytestmark = pytest.mark.django_db


def test_the_owner_agrees_and_takes_it_back(anna: User, northfield: Farm):
    owner, path = session_of(anna), f"/api/v1/farms/{northfield.id}/consents"
    accept(owner, northfield)
    made = owner.post(path, {"kind": "regional"})
    assert (made.status_code, made.json()["withdrawn_at"]) == (201, None)
    assert_problem(owner.post(path, {"kind": "regional"}), 409, "consent_already_given")
    assert owner.delete(f"{path}/{made.json()['id']}").status_code == 204
    assert owner.get(path).json()["results"][0]["withdrawn_at"] is not None


def accept(owner: Sender, farm: Farm) -> None:
    yes = {"version": "2026-1", "language": "en"}
    assert owner.post(f"/api/v1/farms/{farm.id}/agreement/acceptances", yes).status_code == 201


def test_the_data_agreement_comes_before_the_comparison(anna: User, northfield: Farm):
    owner, path = session_of(anna), f"/api/v1/farms/{northfield.id}/consents"
    problem = assert_problem(owner.post(path, {"kind": "regional"}), 409, "agreement_not_accepted")
    assert f"/api/v1/farms/{northfield.id}/agreement/acceptances" in problem["detail"]
    assert len(owner.get(path).json()["results"]) == 1
    accept(owner, northfield)
    assert owner.post(path, {"kind": "regional"}).status_code == 201


def test_an_adviser_whose_consent_ends_is_a_stranger(anna: User, dana: User, northfield: Farm):
    owner, path = session_of(anna), f"/api/v1/farms/{northfield.id}/consents"
    (consent,) = owner.get(path).json()["results"]
    assert consent["adviser_id"] == str(dana.id)
    assert session_of(dana).get(path).status_code == 200
    owner.delete(f"{path}/{consent['id']}")
    assert_problem(session_of(dana).get(path), 404, "not_found")


@pytest.mark.parametrize("kind", ["adviser", "regional"])
def test_an_adviser_nobody_knows(anna: User, carla: User, northfield: Farm, kind: str):
    path = f"/api/v1/farms/{northfield.id}/consents"
    for adviser_id in (str(uuid4()), str(carla.id)):
        problem = assert_problem(
            session_of(anna).post(path, {"kind": kind, "adviser_id": adviser_id}), 422, "adviser_unknown"
        )
        assert problem["errors"][0]["pointer"] == "/adviser_id"


def test_a_consent_for_no_adviser(anna: User, northfield: Farm):
    response = session_of(anna).post(f"/api/v1/farms/{northfield.id}/consents", {"kind": "adviser"})
    assert_problem(response, 422, "adviser_unknown")
