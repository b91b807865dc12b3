"""Every address under a farm, from the router: strangers find nothing there, and nobody finds it without signing in."""

from collections.abc import Iterator
from typing import Any

import pytest
from django.urls import URLPattern, URLResolver, reverse

from farms.ids import uuid7
from farms.services import make_phone_code
from server.web import urls
from tests.cast import acting

pytestmark = pytest.mark.django_db
OPEN = {"home", "set_language", "phone", "leave_phone", "sign_in_link", "mails", "mail", "mail_html", "monday"}


def routes(patterns: Any, converters: tuple[str, ...] = ()) -> Iterator[tuple[str, tuple[str, ...]]]:
    """Each route's name with the names of its ids."""
    for pattern in patterns:
        names = (*converters, *pattern.pattern.converters)
        if isinstance(pattern, URLResolver):
            yield from routes(pattern.url_patterns, names)
        elif isinstance(pattern, URLPattern):
            yield pattern.name, names


ROUTES = dict(routes(urls.urlpatterns))
FARM_ROUTES = sorted(name for name, ids in ROUTES.items() if "farm_id" in ids)


def address(name: str, farm: Any) -> str:
    return reverse(name, kwargs={part: farm.id if part == "farm_id" else uuid7() for part in ROUTES[name]})


def test_every_other_route_was_thought_about():
    others = {name for name in ROUTES if name not in FARM_ROUTES and not name.startswith("account_")}
    assert others <= OPEN | {"region", "group"}


@pytest.mark.parametrize("name", FARM_ROUTES)
def test_carla_finds_nothing_of_northfield(browser, carla, northfield, southmead, name):
    client = browser(carla)
    assert client.get(address(name, northfield)).status_code == 404
    assert client.post(address(name, northfield), {}).status_code == 404


@pytest.mark.parametrize("name", FARM_ROUTES)
def test_another_farms_phone_finds_nothing_of_northfield(browser, carla, northfield, southmead, name):
    from django.utils import timezone

    with acting(carla):
        code = make_phone_code(farm=southmead, by=carla, now=timezone.now())[1]
    client = browser()
    client.post(reverse("phone"), {"code": code})
    assert client.get(address(name, northfield)).status_code == 404
    assert client.post(address(name, northfield), {}).status_code == 404


@pytest.mark.parametrize("name", FARM_ROUTES)
def test_unknown_people_are_asked_to_sign_in(browser, northfield, name):
    for answered in (browser().get(address(name, northfield)), browser().post(address(name, northfield), {})):
        assert answered.status_code == 302
        assert answered.url.startswith(reverse("account_request_login_code"))


@pytest.mark.parametrize("name", FARM_ROUTES)
def test_a_coordinator_finds_no_farm(browser, erik, northfield, name):
    assert browser(erik).get(address(name, northfield)).status_code == 404
