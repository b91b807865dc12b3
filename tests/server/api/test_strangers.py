"""A stranger learns nothing of a farm: every route answers as if the farm didn't exist. Generated from the resolver."""

from typing import Any
from uuid import UUID, uuid4

import pytest

from farms.models import Farm, Membership, User
from tests.cast import as_factory
from tests.server.api.routes import Route, routes
from tests.server.api.senders import Sender, phone_of, session_of, token_of

pytestmark = pytest.mark.django_db
ON_FARM = [route for route in routes() if "{farm_id}" in route.template]
METHODS = ("get", "post", "put", "patch", "delete", "head", "options")
SAME_ID = {"HTTP_X_REQUEST_ID": "the-same"}


@pytest.fixture
def strangers(southmead: Farm, carla: User, erik: User) -> dict[str, Sender]:
    """Carla and hers belong elsewhere; Erik coordinates the group, which shows him no farm."""
    return {
        "carla's session": session_of(carla),
        "carla's writing token": token_of(southmead, carla, "write"),
        "carla's reading token": token_of(southmead, carla, "read"),
        "carla's farm phone": phone_of(southmead, carla),
        "erik's session": session_of(erik),
    }


def ask(sender: Sender, route: Route, farm_id: UUID) -> Any:
    return getattr(sender, route.method)(route.address(farm_id=farm_id), **route.body(), **SAME_ID)


def test_the_resolver_is_really_read():
    assert len(ON_FARM) >= 20
    assert {str(route) for route in ON_FARM} >= {"get farms/{farm_id}", "post farms/{farm_id}/seasons"}


@pytest.mark.parametrize("route", ON_FARM, ids=str)
def test_a_stranger_gets_what_a_farm_that_does_not_exist_gives(
    northfield: Farm, strangers: dict[str, Sender], route: Route
):
    for name, stranger in strangers.items():
        there, nowhere = ask(stranger, route, northfield.id), ask(stranger, route, uuid4())
        assert there.status_code == 404, (name, there.content)
        assert (there.content, dict(there.headers)) == (nowhere.content, dict(nowhere.headers)), name


@pytest.mark.parametrize("template", sorted({route.template for route in ON_FARM}))
def test_no_method_tells_a_stranger_more(northfield: Farm, carla: User, template: str):
    stranger = session_of(carla)
    for method in METHODS:
        there, nowhere = (ask(stranger, Route(method, template), farm) for farm in (northfield.id, uuid4()))
        assert (there.status_code, there.content) == (404, nowhere.content), method


@pytest.mark.parametrize("route", ON_FARM, ids=str)
def test_a_stranger_with_a_broken_body_learns_nothing_either(
    northfield: Farm, southmead: Farm, carla: User, route: Route
):
    stranger = token_of(southmead, carla, "write")
    for farm_id in (northfield.id, uuid4()):
        address = route.address(farm_id=farm_id)
        response = stranger.generic(route.method.upper(), address, b"\xff{", "application/x-unheard-of", **SAME_ID)
        assert response.status_code == 404


def test_who_left_is_a_stranger(northfield: Farm, ben: User):
    before = session_of(ben).get(f"/api/v1/farms/{northfield.id}")
    with as_factory():
        Membership.objects.filter(farm=northfield, user=ben).update(ended_at="2026-06-01T00:00:00Z")
    after = session_of(ben).get(f"/api/v1/farms/{northfield.id}")
    assert (before.status_code, after.status_code) == (200, 404)


@pytest.mark.parametrize("route", ON_FARM, ids=str)
def test_nobody_at_all_is_asked_to_sign_in(db: None, route: Route):
    assert ask(Sender(), route, uuid4()).status_code == 401
