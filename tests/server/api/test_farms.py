"""Farms, and who asks."""

import pytest

from farms.models import Farm, User
from tests.server.api.senders import Sender, session_of

pytestmark = pytest.mark.django_db


def test_a_token_sees_its_own_farm_and_no_other(program: Sender, northfield: Farm, southmead: Farm):
    listed = program.get("/api/v1/farms").json()
    assert [farm["name"] for farm in listed["results"]] == ["Northfield"]


def test_a_farm_says_what_may_be_done_there(ben: User, northfield: Farm):
    farm = session_of(ben).get(f"/api/v1/farms/{northfield.id}").json()
    assert (farm["name"], farm["time_zone"], farm["role"]) == ("Northfield", "America/Chicago", "recorder")
    assert farm["may"] == ["count", "read", "record"]


def test_an_adviser_sees_the_farms_that_agreed(dana: User, northfield: Farm, southmead: Farm):
    assert [farm["id"] for farm in session_of(dana).get("/api/v1/farms").json()["results"]] == [str(northfield.id)]


def test_a_coordinator_sees_no_farm(erik: User, northfield: Farm):
    assert session_of(erik).get("/api/v1/farms").json()["results"] == []


def test_me_as_a_person(anna: User, northfield: Farm):
    me = session_of(anna).get("/api/v1/me").json()
    assert (me["kind"], me["name"], me["expires_at"]) == ("person", "Anna", None)
    assert [(farm["name"], farm["role"]) for farm in me["farms"]] == [("Northfield", "owner")]


def test_me_as_a_coordinator(erik: User):
    me = session_of(erik).get("/api/v1/me").json()
    assert [(group["name"], group["role"]) for group in me["groups"]] == [("Valley Advisers", "coordinator")]


def test_me_as_a_program_and_as_a_phone(program: Sender, phone: Sender, northfield: Farm):
    for sender, kind, may in ((program, "program", ["count", "read", "record"]), (phone, "phone", ["count"])):
        me = sender.get("/api/v1/me").json()
        assert (me["kind"], me["farms"][0]["farm_id"], me["farms"][0]["may"]) == (kind, str(northfield.id), may)
        assert me["expires_at"] > "2026"


@pytest.mark.parametrize("query", ["cursor=nonsense", "limit=0", "limit=1001", "limit=ten", "limit=-1", "naem=x"])
def test_a_query_that_is_not_understood(anna: User, query: str):
    response = session_of(anna).get(f"/api/v1/farms?{query}")
    assert response.status_code == 422
    assert response.json()["errors"][0]["parameter"] == query.partition("=")[0]
