"""A farm's yes to its adviser is withdrawn: from that moment every way is shut, for sessions in use and waiting mails.

The mail that the mail server is just being given can't be called back; everything that waits is held back for good.
"""

from datetime import timedelta

import pytest
from django.core import mail
from django.test import Client
from django.urls import reverse

from alerts.delivery import outbox
from alerts.models import MondayList
from farms.models import Consent, Farm, Group, Membership, User
from farms.services import end_membership, withdraw_consent
from tests.cast import NOW, acting, as_factory, as_role
from tests.server.api.routes import Route, routes
from tests.server.api.senders import Sender, session_of
from tests.server.web.test_strangers import FARM_ROUTES, address

pytestmark = pytest.mark.django_db
ON_FARM = [route for route in routes() if "{farm_id}" in route.template]


def withdraw(farm: Farm, owner: User, adviser: User) -> None:
    with acting(owner):
        consent = Consent.objects.get(farm=farm, adviser=adviser, withdrawn_at__isnull=True)
        withdraw_consent(consent=consent, by=owner, now=NOW + timedelta(minutes=1))


def ask(sender: Sender, farm: Farm, route: Route) -> int:
    return int(getattr(sender, route.method)(route.address(farm_id=farm.id), **route.body()).status_code)


def test_a_session_in_use_finds_nothing_by_any_route_of_the_api(northfield: Farm, anna: User, dana: User):
    session = session_of(dana)
    assert session.get(f"/api/v1/farms/{northfield.id}").status_code == 200
    withdraw(northfield, anna, dana)
    assert {str(route): got for route in ON_FARM if (got := ask(session, northfield, route)) != 404} == {}
    assert session.get("/api/v1/farms").json()["results"] == session.get("/api/v1/me").json()["farms"] == []


def test_nor_by_any_page(northfield: Farm, anna: User, dana: User):
    browser = Client()
    browser.force_login(dana)
    assert browser.get(address("farm", northfield)).status_code == 200
    withdraw(northfield, anna, dana)
    pages = {name: address(name, northfield) for name in FARM_ROUTES}
    got = {name: (browser.get(page).status_code, browser.post(page, {}).status_code) for name, page in pages.items()}
    assert got == dict.fromkeys(FARM_ROUTES, (404, 404))
    for page in ("farms", "monday"):
        assert "Northfield" not in browser.get(reverse(page)).content.decode()


def test_a_role_that_is_ended_shuts_the_same_ways(northfield: Farm, anna: User, ben: User):
    session = session_of(ben)
    assert session.get(f"/api/v1/farms/{northfield.id}").status_code == 200
    with acting(anna):
        end_membership(membership=Membership.objects.get(user=ben), by=anna, now=NOW)
    assert {str(route): got for route in ON_FARM if (got := ask(session, northfield, route)) != 404} == {}


def test_a_list_that_waits_is_not_sent_any_more(northfield: Farm, group: Group, anna: User, dana: User):
    with as_factory():
        MondayList.objects.create(
            group=group, recipient=dana, occasion="2026-W22", language="en", subject="1 farm to call",
            text="Northfield", html="<p>Northfield</p>", queued_at=NOW, next_try_at=NOW,
        )  # fmt: skip
    withdraw(northfield, anna, dana)
    with as_role("worker"):
        assert dict(outbox.send_due(NOW + timedelta(minutes=2))) == {"refused": 1}
        assert dict(outbox.send_due(NOW + timedelta(days=2))) == {}
    assert mail.outbox == []
