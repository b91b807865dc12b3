"""Seasons."""

import pytest

from farms.models import Farm, User
from tests.server.api.senders import session_of
from tests.server.api.test_problems import assert_problem

pytestmark = pytest.mark.django_db


def test_a_season_is_closed_and_the_next_one_opened(anna: User, northfield: Farm):
    owner, path = session_of(anna), f"/api/v1/farms/{northfield.id}/seasons"
    (season,) = owner.get(path).json()["results"]
    closed = owner.patch(f"{path}/{season['id']}", {"closes_on": "2026-10-31"}, headers={"If-Match": "*"})
    assert (closed.status_code, closed.json()["closes_on"]) == (200, "2026-10-31")
    assert owner.post(path, {"opens_on": "2027-04-05"}).status_code == 201
    assert [row["opens_on"] for row in owner.get(path).json()["results"]] == ["2027-04-05", "2026-04-06"]


def test_two_seasons_at_once(anna: User, northfield: Farm):
    response = session_of(anna).post(f"/api/v1/farms/{northfield.id}/seasons", {"opens_on": "2026-05-01"})
    assert_problem(response, 409, "seasons_overlap")


def test_a_season_that_closes_before_it_opens(anna: User, northfield: Farm):
    owner, path = session_of(anna), f"/api/v1/farms/{northfield.id}/seasons"
    season = owner.get(path).json()["results"][0]
    early = owner.patch(f"{path}/{season['id']}", {"closes_on": "2026-04-01"}, headers={"If-Match": "*"})
    problem = assert_problem(early, 422, "season_closes_too_early")
    assert problem["errors"][0]["pointer"] == "/closes_on"
