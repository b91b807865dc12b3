"""Told, by the API."""

import pytest

from farms.models import Farm, User
from tests.server.api.senders import Sender, session_of
from tests.server.api.test_problems import assert_problem

pytestmark = pytest.mark.django_db
BY_CALL = {"week": "2026-05-25", "how": "call", "told_on": "2026-06-01"}


def path(farm: Farm) -> str:
    return f"/api/v1/farms/{farm.id}/told"


def test_a_farm_was_told_and_was_not_after_all(anna: User, dana: User, northfield: Farm):
    adviser = session_of(dana)
    made = adviser.post(path(northfield), BY_CALL)
    assert made.status_code == 201, made.content
    assert {key: made.json()[key] for key in BY_CALL} == BY_CALL
    assert adviser.post(f"{path(northfield)}/taken-back", {"week": "2026-05-27"}).status_code == 201
    assert_problem(adviser.post(f"{path(northfield)}/taken-back", {"week": "2026-05-27"}), 409, "not_told")
    assert [row["undone"] for row in session_of(anna).get(path(northfield)).json()["results"]] == [True, False]


def test_refusals(anna: User, carla: User, dana: User, erik: User, reader: Sender, northfield: Farm):
    adviser = session_of(dana)
    assert_problem(adviser.post(path(northfield), BY_CALL | {"told_on": "2026-05-30"}), 422, "told_day_wrong")
    assert_problem(adviser.post(path(northfield), BY_CALL | {"how": "drum"}), 422, "invalid")
    assert_problem(session_of(anna).post(path(northfield), BY_CALL), 403, "forbidden")
    assert_problem(reader.get(path(northfield)), 403, "forbidden")
    for user in (carla, erik):
        assert_problem(session_of(user).get(path(northfield)), 404, "not_found")
        assert_problem(session_of(user).post(path(northfield), BY_CALL), 404, "not_found")
