"""An adviser's Monday: whom to call first, why, and what was said, by keyboard alone at a desk; the owner reads the
note on a phone.
"""

import pytest
from django.urls import reverse

from alerts.models import CallNote
from farms import services
from tests.alerts.scene import check, count_week, monday
from tests.cast import NOW, acting, as_factory, make_facility, make_farm, make_stations, make_user
from tests.journeys.chromium import OFFICE, PHONE, chromium, press, signed_in, tab_to

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True, databases="__all__")]
NOTE, STEP = "The back wall is wet.", "ask about the waterer"
FOCUSED = "document.activeElement.textContent"


@pytest.fixture(autouse=True)
def scene(standing_clock, monkeypatch, group, region, dana, northfield, cards):
    """Six weeks: Northfield rises over its level, Quietwater stays below. Dana advises both."""
    # Playwright keeps an event loop in this thread; the live server has a connection of its own.
    monkeypatch.setenv("DJANGO_ALLOW_ASYNC_UNSAFE", "true")
    owner = make_user("Quinn")
    quiet = make_farm("Quietwater", region, owner)
    below = make_stations(make_facility(quiet, "Calf barn", "calf_barn", 1), "card", range(1, 6))
    with acting(owner):
        services.give_consent(farm=quiet, kind="adviser", adviser=dana, by=owner, now=NOW)
    for number, specks in enumerate((20, 33, 45, 80, 115, 130), start=2):
        count_week(cards, monday(number), [specks, specks * 4, specks, specks, specks])
        count_week(below, monday(number), [20, 22, 19, 25, 18])
        check(group, monday(number))


def test_an_advisers_monday_goes_from_the_list_to_a_note_that_the_owner_reads(live_server, anna, dana, northfield):
    with chromium() as browser:
        desk, complaints = signed_in(browser, live_server.url, dana, OFFICE)
        asks_whom_to_call(desk)
        sees_why(desk)
        notes_the_call(desk)
        finds_it_at_the_farm(desk)
        phone, more = signed_in(browser, live_server.url, anna, PHONE)
        press(phone, phone.get_by_role("link", name="Visits and calls"))
        press(phone, phone.get_by_role("link", name="Notes on calls"))
        phone.wait_for_url(f"**{reverse('call_notes', args=[northfield.id])}")
        read = phone.inner_text("main")
        fields = phone.get_by_role("main").locator("input, textarea, button").count()
        token = phone.locator("[name=csrfmiddlewaretoken]").first.input_value()
        sent = phone.request.post(phone.url, form={"text": "Not so.", "csrfmiddlewaretoken": token})
    assert NOTE in read and STEP in read and "Dana" in read
    assert (fields, sent.status) == (0, 403)
    assert complaints == more == []
    with as_factory():
        assert [(note.text, note.step) for note in CallNote.objects.filter(farm=northfield)] == [(NOTE, STEP)]


def asks_whom_to_call(page):
    """The list opens with both; one filter leaves whom to call first, and the address says so."""
    both = page.locator(".farm-name").all_inner_texts()
    shown = page.get_by_label("Show", exact=True)
    tab_to(page, shown)
    page.keyboard.press("ArrowDown")
    page.get_by_role("link", name="Quietwater", exact=True).wait_for(state="detached")
    # Playwright hears of the new address by another message than of the changed list, at times after it.
    page.wait_for_url("**/monday/?show=call")
    assert both == ["Northfield", "Quietwater"]
    press(page, page.locator("#list-keys summary"))
    press(page, page.get_by_role("button", name="Go to the first farm"))
    assert page.evaluate(FOCUSED) == "Northfield"


def sees_why(page):
    """Each reason is a link to what it rests on; the way back is the list as it was."""
    reason = page.locator(".why").first
    told = reason.inner_text()
    press(page, reason)
    page.wait_for_url("**/farms/**")
    assert "over" in told and page.locator("h1").inner_text()
    assert "130" in page.inner_text("main") or "level" in page.inner_text("main")
    page.go_back()
    page.wait_for_url("**/monday/?show=call")


def notes_the_call(page):
    tab_to(page, page.get_by_role("link", name="Northfield", exact=True))
    page.keyboard.press("n")
    page.wait_for_selector("#note-form")
    page.wait_for_function("document.activeElement.name === 'text'")
    page.keyboard.type(NOTE)
    page.keyboard.press("Tab")
    page.keyboard.type(STEP)
    page.keyboard.press("Tab")
    page.keyboard.type("06052026")
    press(page, page.get_by_role("button", name="Keep the note"))
    page.get_by_text("It is noted for Northfield.").wait_for()
    line = page.locator(".farm-lines > li").inner_text()
    assert f"Promised (Jun 5): {STEP}" in line and f"Noted Jun 1 (Dana): {NOTE}" in line
    assert "show=call#farm-" in page.url


def finds_it_at_the_farm(page):
    press(page, page.get_by_role("link", name="Northfield", exact=True))
    press(page, page.get_by_role("link", name="Plan a visit or a call"))
    press(page, page.get_by_role("link", name="Notes on calls"))
    page.wait_for_url("**/notes/")
    assert f"Next step (Jun 5): {STEP}" in page.inner_text("main") and NOTE in page.inner_text("main")
