"""To paper and back: tags are printed and read by a phone's camera; a sheet that was written on is typed by keys."""

from datetime import timedelta
from pathlib import Path

import pypdfium2
import pytest
from django.urls import reverse
from django.utils import timezone

from farms.services import make_phone_code, make_sign_in_link
from monitoring.models import Placement, Reading
from tests.cast import NOW, acting, as_factory
from tests.journeys.chromium import OFFICE, PHONE, chromium, press, watched
from tests.server.web.pdf import codes_on, words_on

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True, databases="__all__")]


@pytest.fixture(autouse=True)
def scene(standing_clock, settings, monkeypatch, live_server, northfield, cards, traps):
    """Monday, 1 June: everything hangs since a week."""
    monkeypatch.setenv("DJANGO_ALLOW_ASYNC_UNSAFE", "true")
    settings.SITE_URL = live_server.url
    with as_factory():
        Placement.objects.bulk_create(
            Placement(farm=northfield, station_id=each.id, hung_on="2026-05-25", zone="America/Chicago", entry=1)
            for each in [*cards, *traps]
        )


def desk_of(browser, live_server, user):
    """The page of a person at a desk, and what it complains of."""
    key = make_sign_in_link(user=user, now=timezone.now(), valid_for=timedelta(hours=1))
    page = browser.new_context(**OFFICE).new_page()
    complaints = watched(page)
    page.goto(live_server.url + reverse("sign_in_link", args=[key]))
    page.get_by_role("main").get_by_role("button").click()
    return page, complaints


def test_a_printed_tag_opens_its_station_and_a_written_sheet_is_typed_by_keys_alone(live_server, anna, northfield):
    with acting(anna):
        code = make_phone_code(farm=northfield, by=anna, now=timezone.now())[1]
    with chromium() as browser:
        desk, complaints = desk_of(browser, live_server, anna)
        desk.goto(live_server.url + reverse("print", args=[northfield.id]))
        with desk.expect_download() as printed:
            press(desk, desk.get_by_role("button", name="Tags (PDF)"))
        tags = pypdfium2.PdfDocument(Path(printed.value.path()).read_bytes())
        read = {found.text: words_on(page) for page in tags for found in codes_on(page)}
        assert len(read) == 8

        phone = browser.new_context(**PHONE).new_page()
        phone.goto(f"{live_server.url}{reverse('phone')}?code={code.replace(' ', '')}")
        phone.get_by_role("main").get_by_role("button").first.click()
        trap = list(read)[6]
        phone.goto(trap)
        assert phone.url.startswith(live_server.url + reverse("count", args=[northfield.id]) + "#at-")
        place = phone.locator(":target")
        assert "Trap 2" in place.inner_text()
        assert place.evaluate("here => here.getBoundingClientRect().top < innerHeight")

        desk.goto(live_server.url + reverse("paper", args=[northfield.id]))
        type_the_sheet(desk)
        desk.wait_for_url("**/rounds/**")
    assert complaints == []
    with as_factory():
        stored = {
            each.station.label: each for each in Reading.objects.filter(farm=northfield).select_related("station")
        }
    counts = {label: each.count for label, each in stored.items()}
    assert counts == {"Card 1": 41, "Card 2": 52, "Card 3": None, "Trap 1": 230, "Leg count 1": 21}
    assert stored["Card 3"].reason == "lost" and stored["Card 2"].at_least
    assert stored["Card 1"].taken_on == NOW.date()


def type_the_sheet(desk):
    """What was written on paper, without a mouse."""
    keys = desk.keyboard
    assert desk.get_by_text("goes to the next row in the same column").is_visible()
    desk.get_by_label("Card 1: Count").focus()
    keys.type("99")
    keys.press("Enter")
    keys.press("ArrowUp")
    keys.type("41")  # what stood there is chosen, and typed over
    keys.press("ArrowDown")
    keys.type("52")
    for _ in range(3):
        keys.press("Tab")
    keys.press("Space")  # at least
    keys.press("ArrowDown")
    keys.press("Shift+Tab")
    keys.press("Shift+Tab")
    keys.type("lost")  # the list's own keys
    keys.press("Enter")
    desk.get_by_label("Card 5: Count").focus()
    keys.press("Enter")
    keys.type("230")
    keys.press("Enter")
    keys.press("Enter")
    keys.type("2 0 3 5 1 0 4 2 0 4")
    keys.press("Enter")
    assert desk.evaluate("document.activeElement.textContent") == "Store the sheet"
    keys.press("Enter")
