"""Every address under a farm, from the router: strangers find nothing there, and nobody finds it without signing in."""

from collections.abc import Iterator
from typing import Any

import pytest
from django.urls import URLPattern, URLResolver, reverse
from django.utils import timezone

from farms.ids import uuid7
from farms.services import make_phone_code
from server.web import urls
from tests.cast import acting, make_user

pytestmark = pytest.mark.django_db
OPEN = {
    "home",
    "set_language",
    "phone",
    "leave_phone",
    "waiting",
    "waiting_session",
    "worker",
    "manifest",
    "without_signal",
    "sign_in_link",
    "look",
    "invitation",
    "mails",
    "mail",
    "mail_html",
    "monday",
    "farms",
    "search",
} | {
    "feeds",
    "switch_off_feed",
    "your_mails",
    "mail_choice",
    "address_works",
    "shown",
    "account",
    "keep_account",
    "text_messages",
    "confirm_text_number",
    "take_text_number_away",
    "sent_lists",
    "sent_list",
    "sent_list_html",
    "sent_reports",
    "sent_report",
    "sent_report_html",
    "letters",
    "spray_record",
}


# A group's, with their strangers in test_region_and_group.py, test_guests.py, test_visits.py, test_alert.py,
# test_invitations.py, test_running.py, test_advisers.py, test_agreement.py, test_region_papers.py and
# test_regions_compared.py, test_applications.py.
OF_A_GROUP = {"region", "group", "guests", "end_guest", "visit_rules", "rules", "rule"}
OF_A_GROUP |= {"running", "try_again", "running_everywhere", "advisers", "adviser", "pass_promises"}
OF_A_GROUP |= {"terms", "group_kept", "adviser_sells", "products", "product", "take_product_off", "ask_certificate"}
OF_A_GROUP |= {"group_start", "new_farm", "group_invitations", "group_invite_again", "withdraw_group_invitation"}
OF_A_GROUP |= {"bulletin", "bulletin_mail", "past_season", "past_season_pdf", "regions_compared", "split_region"}


def routes(patterns: Any, converters: tuple[str, ...] = ()) -> Iterator[tuple[str, tuple[str, ...]]]:
    """Each route's name with the names of its ids."""
    for pattern in patterns:
        names = (*converters, *pattern.pattern.converters)
        if isinstance(pattern, URLResolver):
            yield from routes(pattern.url_patterns, names)
        elif isinstance(pattern, URLPattern):
            yield pattern.name, names


ROUTES = dict(routes(urls.urlpatterns))
# A region's reports are open to its group's people; what is written into a region is for its coordinators.
REGION_ROUTES = sorted(name for name in ROUTES if name.startswith("region_"))
FARM_ROUTES = sorted(name for name, ids in ROUTES.items() if "farm_id" in ids)


def address(name: str, farm: Any) -> str:
    return reverse(name, kwargs={part: farm.id if part == "farm_id" else uuid7() for part in ROUTES[name]})


def test_every_other_route_was_thought_about():
    others = {name for name in ROUTES if name not in FARM_ROUTES and not name.startswith("account_")}
    assert others <= OPEN | OF_A_GROUP | set(REGION_ROUTES)


def found(client: Any, farm: Any) -> dict[str, tuple[int, int]]:
    """What a browser gets at each address of a farm, by looking and by sending."""
    addresses = {name: address(name, farm) for name in FARM_ROUTES}
    return {name: (client.get(at).status_code, client.post(at, {}).status_code) for name, at in addresses.items()}


def test_carla_finds_nothing_of_northfield(browser, carla, northfield, southmead):
    assert found(browser(carla), northfield) == dict.fromkeys(FARM_ROUTES, (404, 404))


def test_a_coordinator_finds_nothing_of_a_farm(browser, erik, northfield):
    assert found(browser(erik), northfield) == dict.fromkeys(FARM_ROUTES, (404, 404))


def test_only_a_coordinator_of_its_group_reaches_what_is_written_into_a_region(
    browser, anna, ben, dana, erik, northfield, southmead
):
    assert REGION_ROUTES == [
        "region_closure", "region_closure_lift", "region_temperatures", "region_temperatures_file"
    ]  # fmt: skip
    frida = make_user("Frida")
    for name in REGION_ROUTES:
        page = reverse(name, args=[northfield.region_id])
        for known in (anna, ben, dana):
            assert {browser(known).get(page).status_code, browser(known).post(page, {}).status_code} <= {403, 405}
            assert browser(known).post(page, {}).status_code == 403
        assert browser(frida).post(page, {}).status_code == 404
        assert browser().post(page, {}).status_code == 302
        assert browser(erik).post(page, {}).status_code == 422


def test_another_farms_phone_finds_nothing_of_northfield(browser, carla, northfield, southmead):
    with acting(carla):
        code = make_phone_code(farm=southmead, by=carla, now=timezone.now())[1]
    client = browser()
    client.post(reverse("phone"), {"code": code})
    assert found(client, northfield) == dict.fromkeys(FARM_ROUTES, (404, 404))


def test_unknown_people_are_asked_to_sign_in(browser, northfield):
    assert found(browser(), northfield) == dict.fromkeys(FARM_ROUTES, (302, 302))
    sent = browser().get(address("farm", northfield))
    assert sent.url.startswith(reverse("account_request_login_code"))


def test_a_farm_phone_reaches_round_pages_of_its_own_farm_only(browser, anna, northfield):
    with acting(anna):
        code = make_phone_code(farm=northfield, by=anna, now=timezone.now())[1]
    client = browser()
    client.post(reverse("phone"), {"code": code})
    reached = {name for name, (looked, _sent) in found(client, northfield).items() if looked != 403}
    assert reached == {"count", "round_end", "photos", "plan", "plan_picture", "tag"}
