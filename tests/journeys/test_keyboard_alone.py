"""What an owner does on a desk, by keyboard alone: signs in by a mailed code, takes on an open matter and puts it off,
and lets an adviser in. Counting a round by keyboard is in test_round_on_a_phone.py, noting a call in
test_monday_to_a_note.py; all of them fail where the focus can't be seen or goes back up the page.
"""

import re

import pytest
from django.core import mail

from alerts.models import AlertEvent
from farms.models import Consent
from tests.alerts.scene import check, count_week, monday
from tests.cast import as_factory
from tests.journeys.chromium import OFFICE, chromium, press, tab_to, watched
from tests.patience import wait_until

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True, databases="__all__")]
NOTE = "The bedding goes out on Wednesday."


@pytest.fixture(autouse=True)
def scene(standing_clock, monkeypatch, settings, group, northfield, cards):
    """Northfield's cards are over the level for two weeks."""
    from django.core.cache import cache

    # Playwright keeps an event loop in this thread; the live server has a connection of its own.
    monkeypatch.setenv("DJANGO_ALLOW_ASYNC_UNSAFE", "true")
    settings.DEMO_MAIL_DIR = ""
    cache.clear()
    for number, specks in enumerate((45, 80, 115, 130), start=4):
        count_week(cards, monday(number), [specks, specks * 4, specks, specks, specks])
        check(group, monday(number))


def test_an_owner_signs_in_takes_a_matter_on_and_lets_an_adviser_in(live_server, anna, fay, northfield):
    with chromium() as browser:
        page = browser.new_page(**OFFICE)
        complaints = watched(page)
        page.goto(live_server.url)
        signs_in(page)
        takes_a_matter_on(page)
        lets_an_adviser_in(page)
        ended = page.inner_text("main")
    assert "Withdrawn. It ended at once." in ended and complaints == []
    with as_factory():
        kinds = set(AlertEvent.objects.filter(farm=northfield).values_list("kind", flat=True))
        consent = Consent.objects.get(farm=northfield, adviser=fay)
    assert {"acknowledged", "snoozed"} <= kinds
    assert consent.given_by == anna and consent.withdrawn_at is not None


def signs_in(page):
    press(page, page.get_by_role("main").get_by_role("link", name="Sign in"))
    tab_to(page, page.get_by_label("E-mail address"))
    page.keyboard.type("anna@example.org")
    page.keyboard.press("Enter")
    tab_to(page, page.get_by_label("Code from the mail"))
    wait_until(lambda: mail.outbox, "the code is mailed")
    page.keyboard.type(str(mail.outbox[-1].subject).split()[0])
    page.keyboard.press("Enter")
    page.wait_for_url(re.compile("/farms/"))


def takes_a_matter_on(page):
    """From the farm's page to its first open matter; only the counts end it."""
    press(page, page.locator(".matters a").first)
    page.wait_for_url("**/matters/**")
    tab_to(page, page.locator("form:has([value=note]) textarea"))
    page.keyboard.type(NOTE)
    press(page, page.get_by_role("button", name="I take it on"))
    page.get_by_text("Noted. It stays open until the counts end it.").wait_for()
    assert NOTE in page.inner_text("main")
    tab_to(page, page.locator("form:has([value=later]) input[type=date]"))
    page.keyboard.type("06052026")
    press(page, page.get_by_role("button", name="Later", exact=True))
    page.get_by_text("Put off to Friday, June 5.").wait_for()


def lets_an_adviser_in(page):
    press(page, page.get_by_role("navigation", name="Where you are").get_by_role("link", name="Northfield"))
    press(page, page.get_by_role("link", name="Settings"))
    press(page, page.get_by_role("link", name="Who may see what"))
    chosen = page.get_by_label("Adviser", exact=True)
    tab_to(page, chosen)
    page.keyboard.type("Fay")
    assert chosen.evaluate("list => list.selectedOptions[0].textContent") == "Fay"
    press(page, page.get_by_role("button", name="Let this adviser see the farm"))
    page.get_by_text("Fay may see the farm now.").wait_for()
    press(page, page.get_by_role("button", name="End it Fay"))
    page.get_by_text("Withdrawn.").wait_for()
