"""The farm's log over the API: for its owners, newest first."""

import pytest

from farms.models import Farm, User
from tests.server.api.senders import Sender, phone_of, session_of, token_of
from tests.server.api.test_problems import assert_problem

pytestmark = pytest.mark.django_db


def test_the_owner_reads_what_happened_newest_first(northfield: Farm, anna: User, dana: User):
    token_of(northfield, anna, "read")
    phone_of(northfield, anna)
    owner, path = session_of(anna), f"/api/v1/farms/{northfield.id}/log"
    rows = owner.get(path).json()["results"]
    assert [(row["kind"], row["actor_kind"], row["about"]) for row in rows] == [
        ("phone_joined", "phone", "Barn"),
        ("token_made", "farm_staff", "read program"),
        ("consent_given", "farm_staff", f"adviser {dana.id}"),
    ]
    assert [row["kind"] for row in owner.get(path, {"kind": "token_made"}).json()["results"]] == ["token_made"]
    assert owner.get(path, {"since": "2126-01-01T00:00:00Z"}).json()["results"] == []
    assert_problem(owner.get(path, {"kind": "gossip"}), 422, "bad_query")
    assert_problem(owner.get(path, {"since": "yesterday"}), 422, "bad_query")


def test_it_comes_in_pages(northfield: Farm, anna: User):
    for _ in range(4):
        token_of(northfield, anna, "read")
    owner, address = session_of(anna), f"/api/v1/farms/{northfield.id}/log?limit=2"
    seen = []
    while address:
        page = owner.get(address).json()
        seen += [row["id"] for row in page["results"]]
        address = page["next"]
    assert len(seen) == len(set(seen)) == 5


def test_the_log_is_the_owners_alone(northfield: Farm, southmead: Farm, ben, dana, carla, program: Sender):
    path = f"/api/v1/farms/{northfield.id}/log"
    for sender in (session_of(ben), session_of(dana), program):
        assert_problem(sender.get(path), 403, "forbidden")
    for sender in (session_of(carla), token_of(southmead, carla, "write")):
        assert_problem(sender.get(path), 404, "not_found")
    assert_problem(Sender().get(path), 401, "not_signed_in")
