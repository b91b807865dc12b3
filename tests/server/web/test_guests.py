"""The coordinator's page of guests, and every page as a guest finds it."""

from datetime import timedelta

import pytest
from django.core import mail
from django.urls import reverse
from django.utils import timezone

from farms.ids import uuid7
from farms.models import Group, GroupMember, Region, User
from tests.cast import as_factory, make_user
from tests.server.web.pages import words
from tests.server.web.test_strangers import OPEN, ROUTES

pytestmark = pytest.mark.django_db(transaction=True, databases="__all__")
UNTIL = (timezone.now() + timedelta(days=30)).date()
SENT = {"email": "wim@example.org", "name": "Wim", "until": str(UNTIL)}


@pytest.fixture
def wim(browser, erik, group, region) -> User:
    browser(erik).post(reverse("guests", args=[group.id]), SENT)
    return User.objects.get(email="wim@example.org")


def test_a_coordinator_invites_and_ends_a_guest(browser, erik, group, region):
    client, address = browser(erik), reverse("guests", args=[group.id])
    assert "Nobody is a guest now." in words(client.get(address))
    shown = words(client.post(address, SENT, follow=True))
    assert "Wim can sign in by a mailed code now." in shown and "wim@example.org until " in shown
    assert "1 guest reads the region reports now." in words(client.get(reverse("group", args=[group.id])))
    visitor = browser()
    asked = visitor.post(reverse("account_request_login_code"), {"email": "wim@example.org"})
    visitor.post(asked.url, {"code": mail.outbox[-1].subject.split()[0]})
    assert "Lower Valley Valley Advisers" in words(visitor.get(reverse("home"), follow=True))
    assert visitor.get(reverse("region", args=[region.id])).status_code == 200
    guest = GroupMember.objects.get(user__email="wim@example.org")
    assert guest.ends_at.isoformat() >= str(UNTIL + timedelta(days=1))
    ended = words(client.post(reverse("end_guest", args=[group.id, guest.id]), follow=True))
    assert "Wim reads the region reports no longer." in ended and "Guests who left Wim" in ended
    assert visitor.get(reverse("region", args=[region.id])).status_code == 404
    assert "Nothing to show yet" in words(visitor.get(reverse("home"), follow=True))


def test_a_refusal_keeps_what_was_typed(browser, erik, group):
    client, address = browser(erik), reverse("guests", args=[group.id])
    late = str(UNTIL + timedelta(days=400))
    refused = client.post(address, SENT | {"until": late})
    assert refused.status_code == 422 and "within 400 days" in words(refused)
    assert 'value="wim@example.org"' in refused.content.decode()
    assert client.post(address, SENT | {"email": "wim"}).status_code == 422
    assert not GroupMember.objects.filter(role="guest").exists()


def test_a_guest_by_every_page(browser, wim, northfield, group, region):
    """Real ids wherever an address takes one."""
    ids = {"farm_id": northfield.id, "group_id": group.id, "region_id": region.id, "year": 2026}
    client = browser(wim)
    found = {}
    for name, parts in ROUTES.items():
        if name in OPEN or name.startswith("account_"):
            continue
        address = reverse(name, kwargs={part: ids.get(part) or uuid7() for part in parts})
        found[name] = (client.get(address).status_code, client.post(address, {}).status_code)
    # The region's reports, in each of their shapes; of a region without one there is nothing to print.
    shapes = ("region", "bulletin", "bulletin_mail", "past_season", "past_season_pdf")
    assert [found.pop(name) for name in shapes] == [(200, 405), (302, 405), (405, 302), (200, 405), (302, 405)]
    assert {name: got for name, got in found.items() if not set(got) <= {404, 405}} == {}
    assert client.get(reverse("monday")).status_code == 404
    assert "Northfield" not in words(client.get(reverse("farms")))


def test_the_page_of_guests_is_the_coordinators(browser, anna, dana, wim, northfield, group):
    with as_factory():
        hill = Group.objects.create(name="Hill", slug="hill")
        Region.objects.create(group=hill, name="Hill", slug="hill")
        carla = make_user("Carla")
        GroupMember.objects.create(group=hill, user=carla, role="coordinator")
    guest = GroupMember.objects.get(user=wim)
    pages = (reverse("guests", args=[group.id]), reverse("end_guest", args=[group.id, guest.id]))
    for user, status in ((anna, 403), (dana, 403), (carla, 404), (wim, 404), (make_user("Frida"), 404)):
        for page in pages:
            assert browser(user).post(page, SENT | {"email": "new@example.org"}).status_code == status
    assert browser().post(pages[0], SENT).status_code == 302
    assert browser(carla).post(reverse("end_guest", args=[hill.id, guest.id])).status_code == 404
    guest.refresh_from_db()
    assert guest.ended_at is None and not User.objects.filter(email="new@example.org").exists()
