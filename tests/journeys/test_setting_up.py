"""From a coordinator's first farm to numbered cards: invitation by a real mail server, and the guide, by keyboard."""

import re
from collections.abc import Iterator
from datetime import timedelta
from typing import Any

import pytest
from aiosmtpd.controller import Controller
from django.urls import NoReverseMatch, reverse
from django.utils import timezone

from farms.models import Farm, Person
from farms.services import make_sign_in_link
from monitoring.models import Station
from server.demo.processes import free_port
from tests.cast import as_factory
from tests.journeys.chromium import OFFICE, PHONE, chromium, press, tab_to, watched
from tests.journeys.world import Mailbox
from tests.patience import wait_until

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True, databases="__all__")]


@pytest.fixture
def mailbox(settings: Any) -> Iterator[Mailbox]:
    """What a real SMTP server takes."""
    box = Mailbox()
    smtp = Controller(box, hostname="127.0.0.1", port=free_port(0))
    smtp.start()
    settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
    settings.EMAIL_HOST, settings.EMAIL_PORT, settings.EMAIL_USE_TLS = "127.0.0.1", smtp.port, False
    settings.EMAIL_HOST_USER = settings.EMAIL_HOST_PASSWORD = ""
    yield box
    smtp.stop()


@pytest.fixture(autouse=True)
def scene(standing_clock: Any, monkeypatch: Any, settings: Any) -> None:
    from django.core.cache import cache

    # Playwright keeps an event loop in this thread; the database is asked before and after it, never inside.
    monkeypatch.setenv("DJANGO_ALLOW_ASYNC_UNSAFE", "true")
    settings.DEMO_MAIL_DIR = ""
    cache.clear()


def mailed(box: Mailbox, number: int) -> Any:
    wait_until(lambda: len(box.to("olga@example.org")) >= number, "the mail has come")
    return box.to("olga@example.org")[number - 1]


def fill(page: Any, label: str, text: str) -> None:
    tab_to(page, page.get_by_label(label, exact=True))
    page.keyboard.press("ControlOrMeta+A")
    page.keyboard.type(text)


def send(page: Any, button: str) -> None:
    press(page, page.get_by_role("button", name=button))


def register(browser: Any, site: str, key: str, box: Mailbox) -> str:
    """The coordinator registers a farm; the address that its owner is mailed."""
    office = browser.new_page(**OFFICE)
    complaints = watched(office)
    office.goto(site + reverse("sign_in_link", args=[key]))
    office.get_by_role("button", name="Sign in here").click()
    press(office, office.get_by_role("link", name="Register a farm"))
    fill(office, "Name of the farm", "Hollow Creek")
    fill(office, "Name of its owner", "Olga")
    fill(office, "E-mail address of its owner", "olga@example.org")
    send(office, "Invite the owner")
    office.wait_for_url("**/invitations/")
    assert complaints == []
    return re.search(r"/invitation/\S+", mailed(box, 1).get_content())[0]


def accept(page: Any, address: str, box: Mailbox) -> None:
    """The owner opens the mail's address, types the code of the second mail, and accepts."""
    page.goto(address)
    send(page, "Send me a code")
    page.wait_for_url("**/sign-in/code/**")
    page.get_by_role("textbox").first.fill(str(mailed(box, 2)["Subject"]).split()[0])
    page.keyboard.press("Enter")
    page.wait_for_url("**/invitation/**")
    send(page, "Accept")
    page.wait_for_url("**/start/")


def buildings_and_cards(page: Any, site: str) -> str:
    """The guide to its numbered cards, by keyboard, left once and come back to; where the guide is."""
    guide = page.url
    press(page, page.get_by_role("link", name="Next: The farm"))
    send(page, "Keep it")
    page.wait_for_url(guide)
    # Left and come back to: what was done is done.
    page.goto(site + "/")
    page.wait_for_url(guide)
    press(page, page.get_by_role("link", name="Next: Barns and lots"))
    fill(page, "Calf hutches", "1")
    fill(page, "Free-stall barn", "1")
    send(page, "Propose names")
    fill(page, "free-stall barn", "Long barn")
    send(page, "Add these")
    page.wait_for_url(guide)
    press(page, page.get_by_role("link", name="Next: Cards, traps and leg counts"))
    send(page, "Number them")
    page.get_by_role("button", name="Add these").wait_for()
    assert page.evaluate("document.documentElement.scrollWidth") <= 375
    send(page, "Add these")
    page.wait_for_url(guide)
    return str(guide)


def test_a_farm_is_registered_invited_and_set_up(live_server, mailbox, erik, group, region):
    key = make_sign_in_link(user=erik, now=timezone.now(), valid_for=timedelta(hours=1))
    with chromium() as browser:
        address = register(browser, live_server.url, key, mailbox)
        page = browser.new_page(**PHONE)
        complaints = watched(page)
        accept(page, live_server.url + address, mailbox)
        guide = buildings_and_cards(page, live_server.url)
        press(page, page.get_by_role("link", name="Next: People and phones"))
        first = page.get_by_role("group", name="Person 1", exact=True)
        tab_to(page, first.get_by_label("Name"))
        page.keyboard.type("Rosa Alta")
        send(page, "Add them")
        page.wait_for_url(guide)
        steps = page.get_by_role("listitem").filter(has_text="Cards and tags on paper")
        prints = steps.get_by_role("link").count()
    assert complaints == []
    assert prints == (1 if _page_to_print() else 0)
    with as_factory():
        farm = Farm.objects.get(name="Hollow Creek")
        stations = Station.objects.filter(farm=farm).order_by("position").select_related("facility")
        assert [(each.facility.name, each.number) for each in stations] == [
            *(("Calf hutches", number) for number in range(1, 6)), *(("Long barn", number) for number in range(6, 11))
        ]  # fmt: skip
        assert Person.objects.get(farm=farm).initials == "RA"


def _page_to_print() -> bool:
    try:
        reverse("print", args=["0197d0c2-5c00-7000-8000-0000000000ff"])
    except NoReverseMatch:
        return False
    return True
