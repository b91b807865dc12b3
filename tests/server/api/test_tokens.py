"""Tokens and farm phones."""

from datetime import timedelta

import pytest
from django.utils import timezone

from farms.models import Farm, User
from tests.server.api.senders import Sender, phone_of, session_of
from tests.server.api.test_problems import assert_problem

pytestmark = pytest.mark.django_db


def test_the_owner_makes_a_token_and_switches_it_off(anna: User, northfield: Farm):
    owner, path = session_of(anna), f"/api/v1/farms/{northfield.id}/tokens"
    expires = timezone.now() + timedelta(days=30)
    made = owner.post(path, {"name": "Herd program", "scope": "write", "expires_at": expires.isoformat()})
    assert made.status_code == 201, made.content
    key = made.json()["key"]
    assert Sender(key).get("/api/v1/me").json()["name"] == "Herd program"
    listed = owner.get(path).json()["results"]
    assert [row["id"] for row in listed] == [made.json()["id"]]
    assert "key" not in listed[0] and key not in owner.get(path).content.decode()
    assert owner.delete(f"{path}/{made.json()['id']}").status_code == 204
    assert_problem(Sender(key).get("/api/v1/me"), 401, "bad_token")


@pytest.mark.parametrize("scope", ["count", "own", ""])
def test_a_token_of_a_kind_that_programs_do_not_get(anna: User, northfield: Farm, scope: str):
    body = {"name": "Herd program", "scope": scope, "expires_at": "2027-01-01T00:00:00Z"}
    problem = assert_problem(session_of(anna).post(f"/api/v1/farms/{northfield.id}/tokens", body), 422, "invalid")
    assert problem["errors"][0]["pointer"] == "/scope"


def test_a_token_that_would_never_end(anna: User, northfield: Farm):
    body = {"name": "Herd program", "scope": "read", "expires_at": "2046-01-01T00:00:00Z"}
    response = session_of(anna).post(f"/api/v1/farms/{northfield.id}/tokens", body)
    assert_problem(response, 422, "token_life_wrong")


def test_a_phone_code_works_once(dana: User, northfield: Farm):
    made = session_of(dana).post(f"/api/v1/farms/{northfield.id}/phone-codes")
    assert made.status_code == 201
    typed = {"code": made.json()["code"], "name": "Barn"}
    first = Sender().post("/api/v1/phone", typed)
    assert (first.status_code, first.json()["farm_id"]) == (201, str(northfield.id))
    assert_problem(Sender().post("/api/v1/phone", typed), 422, "phone_code_wrong")


def test_the_owner_switches_a_phone_off(anna: User, northfield: Farm):
    phone, owner = phone_of(northfield, anna), session_of(anna)
    path = f"/api/v1/farms/{northfield.id}/tokens"
    (row,) = owner.get(path).json()["results"]
    assert (row["scope"], row["name"]) == ("count", "Barn")
    owner.delete(f"{path}/{row['id']}")
    assert_problem(phone.get("/api/v1/me"), 401, "bad_token")


def test_codes_can_not_be_tried_out(db: None):
    answers = [Sender().post("/api/v1/phone", {"code": f"0000 {number:04}", "name": "x"}) for number in range(31)]
    assert {answer.status_code for answer in answers[:30]} == {422}
    assert_problem(answers[30], 429, "too_many_requests")
    assert int(answers[30].headers["Retry-After"]) > 0
