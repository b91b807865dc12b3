"""A recorder counts a round on a phone 375 pixels wide: by keyboard alone, and once more without scripts or account."""

from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from farms.services import make_phone_code, make_sign_in_link
from monitoring.models import Reading, Round
from tests.cast import acting, as_factory
from tests.journeys.chromium import PHONE, chromium, press, tab_to, watched

pytestmark = [
    pytest.mark.browser,
    pytest.mark.django_db(transaction=True, databases="__all__"),
    pytest.mark.usefixtures("in_the_barn"),
]
COUNTS = (20, 30, 25, 600)


def test_a_round_is_counted_by_keyboard_alone(live_server, anna, northfield):
    key = make_sign_in_link(user=anna, now=timezone.now(), valid_for=timedelta(hours=1))
    with chromium() as browser:
        page = browser.new_page(**PHONE)
        complaints = watched(page)
        page.goto(live_server.url + reverse("sign_in_link", args=[key]))
        press(page, page.get_by_role("button", name="Sign in here"))
        press(page, page.get_by_role("link", name="Count a round"))
        tab_to(page, page.get_by_label("Specks on Card 1"))
        for number, count in enumerate(COUNTS, start=1):
            # Enter goes to the next number, and never sends a round half done.
            assert page.get_by_label(f"Specks on Card {number}").evaluate("here => here === document.activeElement")
            page.keyboard.type(str(count))
            page.keyboard.press("Enter")
        tab_to(page, page.locator("#main").get_by_label("counted", exact=True).locator("visible=true"))
        page.keyboard.press("ArrowDown")
        press(page, page.get_by_role("button", name="Finish", exact=True))
        heard = page.evaluate("document.activeElement.textContent")
        press(page, page.get_by_role("button", name="Send the round"))
        page.wait_for_url("**/end/")
        told = page.inner_text("main")
        wide = page.evaluate("document.documentElement.scrollWidth")
    # The mean of 20, 30, 25 and 600 specks in 7 days is 168.75.
    assert "169" in told and "specks a card" in told and "action level 100" in told
    assert "One place to look" in told and "Card 4 in the calf barn holds the most." in told
    assert "1 without a count is left out." in told
    assert heard == "Finish the round"
    assert complaints == [] and wide <= 375
    with as_factory():
        readings = Reading.objects.filter(farm=northfield).order_by("station__number")
        assert [(reading.count, reading.reason) for reading in readings] == [(n, "") for n in COUNTS] + [(None, "lost")]


def test_a_farm_phone_counts_without_scripts_and_without_an_account(live_server, anna, northfield):
    with acting(anna):
        code = make_phone_code(farm=northfield, by=anna, now=timezone.now())[1]
    with chromium() as browser:
        page = browser.new_context(**PHONE, java_script_enabled=False).new_page()
        page.goto(f"{live_server.url}{reverse('phone')}?code={code.replace(' ', '')}")
        page.get_by_role("button", name="Start counting with this phone").click()
        page.get_by_label("Specks on Card 1").fill("4o")
        page.get_by_label("Specks on Card 2").fill("52")
        page.get_by_role("button", name="Send the round").click()
        refused = page.inner_text("main")
        kept = page.get_by_label("Specks on Card 2").input_value()
        page.get_by_label("Specks on Card 1").fill("40")
        page.get_by_role("button", name="Send the round").click()
        told = page.inner_text("main")
    assert "Type a whole number" in refused and kept == "52"
    assert "46" in told and "specks a card" in told and "still open" in told
    with as_factory():
        walk = Round.objects.get(farm=northfield)
        assert (walk.source, walk.actor_kind) == ("phone", "phone")
        assert Reading.objects.filter(farm=northfield).count() == 2
