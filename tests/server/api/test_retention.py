"""How long records are kept: coordinators set it, the people of the group and its farms read it."""

import pytest

from farms.models import Farm, Group, User
from farms.models.retention import KeptKind
from farms.retention import KEPT
from tests.server.api.senders import Sender, session_of
from tests.server.api.test_problems import assert_problem

pytestmark = pytest.mark.django_db
NEW = {"photos": 12, "notes": None}
USUAL = {kind.value: kept.usual for kind, kept in KEPT.items()}


@pytest.fixture
def address(group: Group) -> str:
    return f"/api/v1/groups/{group.id}/retention"


@pytest.fixture
def of_farm(northfield: Farm) -> str:
    return f"/api/v1/farms/{northfield.id}/retention"


def kept(sender: Sender, address: str) -> dict[str, int | None]:
    return {row["kind"]: row["months"] for row in sender.get(address).json()["results"]}


def test_a_coordinator_sets_some_kinds_and_the_others_stay(address: str, of_farm: str, anna: User, erik: User):
    coordinator, owner = session_of(erik), session_of(anna)
    assert kept(coordinator, f"{address}/applied") == kept(owner, of_farm) == USUAL
    made = coordinator.post(address, NEW)
    assert made.status_code == 201
    assert {row["kind"]: (row["months"], row["set_by_id"]) for row in made.json()["results"]} == {
        "photos": (12, str(erik.id)), "notes": (None, str(erik.id)),
    }  # fmt: skip
    assert kept(coordinator, f"{address}/applied") == kept(owner, of_farm) == USUAL | NEW
    assert kept(owner, address) == NEW, "what was set stays on record"


def test_what_changes_nothing_is_not_written(address: str, erik: User):
    sender = session_of(erik)
    sender.post(address, NEW)
    for body in (NEW, {}, {"log": USUAL["log"]}):
        again = sender.post(address, body)
        assert (again.status_code, again.json()["results"]) == (201, [])
    assert len(sender.get(address).json()["results"]) == 2


def test_each_kind_tells_what_may_be_chosen(of_farm: str, anna: User):
    rows = {row["kind"]: row for row in session_of(anna).get(of_farm).json()["results"]}
    assert list(rows) == [kind.value for kind in KeptKind]
    assert rows["applicators"] == {"kind": "applicators", "months": 36, "usual": 36, "least": 24, "most": 600}


@pytest.mark.parametrize("number", [23, 601])
def test_what_is_too_short_or_too_long_is_refused_as_on_the_page(address: str, erik: User, number: int):
    refused = assert_problem(session_of(erik).post(address, {"photos": 6, "applicators": number}), 422, "invalid")
    (error,) = refused["errors"]
    assert (error["pointer"], error["code"]) == ("/applicators", "kept_too_short")
    assert error["detail"].startswith("Choose 24 months or more, at most 600")
    assert kept(session_of(erik), f"{address}/applied") == USUAL, "the others aren't set either"


@pytest.mark.parametrize("body", [{"counts": 12}, {"photos": "12"}, {"photos": 1.5}, {"photos": -1}])
def test_what_has_no_meaning_is_refused(address: str, erik: User, body: dict):
    answer = session_of(erik).post(address, body)
    assert answer.status_code == 422 and answer.json()["errors"][0]["pointer"] == f"/{next(iter(body))}"


def test_it_is_read_by_its_people_and_set_by_nobody_else(
    address: str, of_farm: str, anna: User, ben: User, dana: User, carla: User
):
    for user in (anna, ben, dana):
        for read in (address, f"{address}/applied", of_farm):
            assert session_of(user).get(read).status_code == 200, (user.email, read)
        assert_problem(session_of(user).post(address, NEW), 403, "forbidden")
    for read in (address, f"{address}/applied", of_farm):
        assert_problem(session_of(carla).get(read), 404, "not_found")
    assert_problem(session_of(carla).post(address, NEW), 404, "not_found")


def test_a_coordinator_learns_of_the_group_alone_and_a_key_of_its_farm(
    address: str, of_farm: str, erik: User, reader: Sender
):
    assert_problem(session_of(erik).get(of_farm), 404, "not_found")
    assert kept(reader, of_farm) == USUAL
    assert_problem(reader.get(address), 404, "not_found")
