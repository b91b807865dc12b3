"""Planned visits by the API, and the group's rules."""

import pytest

from farms.models import Farm, Group, User
from tests.server.api.senders import Sender, session_of
from tests.server.api.test_problems import assert_problem

pytestmark = pytest.mark.django_db
PLAN = {"kind": "visit", "day": "2026-06-09", "last_farm": "Hollow Creek", "last_on": "2026-05-29"}


def path(farm: Farm) -> str:
    return f"/api/v1/farms/{farm.id}/visits"


def test_a_visit_is_planned_told_as_a_call_and_taken_back(anna: User, ben: User, dana: User, northfield: Farm):
    adviser, owner = session_of(dana), session_of(anna)
    made = adviser.post(path(northfield), PLAN)
    assert made.status_code == 201, made.content
    visit = made.json()
    assert (visit["kind"], visit["told_as"], visit["adviser_id"]) == ("visit", "visit", str(dana.id))
    last = adviser.get(path(northfield)).json()["results"][0]["last_farm"]
    assert last == {"name": "Hollow Creek", "visited_on": "2026-05-29"}
    owner.post(f"/api/v1/farms/{northfield.id}/closures", {"closed": True, "from_on": "2026-06-01"})
    for user in (anna, ben):
        (row,) = session_of(user).get(path(northfield)).json()["results"]
        assert (row["kind"], row["told_as"], row["last_farm"]) == ("visit", "call", None)
    assert adviser.delete(f"{path(northfield)}/{visit['id']}/last-farm").status_code == 204
    assert adviser.get(path(northfield)).json()["results"][0]["last_farm"] is None
    assert_problem(owner.delete(f"{path(northfield)}/{visit['id']}"), 403, "forbidden")
    assert adviser.delete(f"{path(northfield)}/{visit['id']}").status_code == 204
    assert owner.get(path(northfield)).json()["results"] == []


def test_what_was_erased_is_not_told_again_to_who_sends_the_plan_again(dana: User, northfield: Farm):
    adviser, key = session_of(dana), {"Idempotency-Key": '"a-plan-of-danas"'}
    made = adviser.post(path(northfield), PLAN, headers=key)
    assert made.status_code == 201, made.content
    assert adviser.delete(f"{path(northfield)}/{made.json()['id']}/last-farm").status_code == 204
    again = adviser.post(path(northfield), PLAN, headers=key)
    assert again.status_code == 201 and again.json()["id"] == made.json()["id"]
    assert b"Hollow Creek" not in again.content


def test_refusals(anna: User, dana: User, carla: User, erik: User, reader: Sender, northfield: Farm):
    adviser = session_of(dana)
    half = assert_problem(adviser.post(path(northfield), PLAN | {"last_on": None}), 422, "last_farm_half_told")
    assert half["errors"][0]["pointer"] == "/last_on"
    assert_problem(adviser.post(path(northfield), PLAN | {"day": "2026-05-31"}), 422, "visit_day_wrong")
    assert_problem(session_of(anna).post(path(northfield), PLAN), 403, "forbidden")
    assert_problem(reader.get(path(northfield)), 403, "forbidden")
    for user in (carla, erik):
        assert_problem(session_of(user).get(path(northfield)), 404, "not_found")
        assert_problem(session_of(user).post(path(northfield), PLAN), 404, "not_found")


def test_the_groups_rules(anna: User, dana: User, carla: User, erik: User, northfield: Farm, group: Group):
    rules = f"/api/v1/groups/{group.id}/visit-rules"
    usual = session_of(anna).get(f"{rules}/applied").json()
    assert usual["set_at"] is None and len(usual["lines"]) == 3
    assert session_of(erik).post(rules, {"text": "Clean boots.\nPark outside."}).status_code == 201
    assert session_of(dana).get(f"{rules}/applied").json()["lines"] == ["Clean boots.", "Park outside."]
    assert len(session_of(anna).get(rules).json()["results"]) == 1
    assert_problem(session_of(dana).post(rules, {"text": "None."}), 403, "forbidden")
    assert_problem(session_of(carla).get(rules), 404, "not_found")
