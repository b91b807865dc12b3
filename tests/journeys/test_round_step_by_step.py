"""A round one station at a time with a thumb: what is told when, what is asked, what can be taken back, and the end
without signal, which says what the service says once the round is in.
"""

from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from farms.services import add_person, make_sign_in_link
from monitoring.models import Placement, Reading
from tests.alerts.scene import count_week, monday
from tests.cast import NOW, acting, as_factory
from tests.journeys.barn_phone import until
from tests.journeys.chromium import PHONE, chromium, watched

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True, databases="__all__")]
ANIMALS = [3, 9, 14, 2, 8, 5, 11, 0, 7, 9, 20, 0]
# The count itself, which the service's page tells beside its verdict.
LEGS_TOLD = "88 flies on 12 animals. "
# A phone that speaks English and keeps what it was asked to say; Chromium without a window has no voice.
A_VOICE = """
  window.said = [];
  Object.defineProperty(window, "speechSynthesis", {value: {
    getVoices: () => [{lang: "en-US", name: "invented"}], speaking: false, cancel() {}, addEventListener() {},
    speak: (what) => window.said.push(what.text)}});
  window.SpeechSynthesisUtterance = class { constructor(text) { this.text = text; } };
"""
# From what a step says first to its last button, on the screen and not below it.
WHOLE_STEP_IN_SIGHT = """() => document.querySelector(".step-head").getBoundingClientRect().top >= 0
  && document.querySelector(".step-more").getBoundingClientRect().bottom <= window.innerHeight"""
RESTORED = """(form) => {
  form.querySelector("[name$='-count']").value = "77";
  form.dispatchEvent(new CustomEvent("round:restored", {bubbles: true}));
}"""


@pytest.fixture(autouse=True)
def scene(standing_clock, monkeypatch, northfield, cards, traps, leg_station):
    """Monday, 1 June: cards and traps hang since a week; a week ago every card had 40 specks, every trap 60 flies."""
    monkeypatch.setenv("DJANGO_ALLOW_ASYNC_UNSAFE", "true")
    count_week(traps, monday(5), [60, 60])
    count_week(cards, monday(6), [40, 40, 40, 40, 40])
    with as_factory():
        Placement.objects.bulk_create(
            Placement(farm=northfield, station_id=each.id, hung_on=monday(7), zone="UTC", entry=1)
            for each in [*cards, *traps]
        )


def opened(browser, live_server, user, farm, scripts=""):
    key = make_sign_in_link(user=user, now=timezone.now(), valid_for=timedelta(hours=1))
    context = browser.new_context(**PHONE)
    context.add_init_script(scripts)
    page = context.new_page()
    complaints = watched(page)
    page.goto(live_server.url + reverse("sign_in_link", args=[key]))
    page.get_by_role("main").get_by_role("button").click()
    page.goto(live_server.url + reverse("count", args=[farm.id]))
    return page, complaints


def tap(page, name):
    page.get_by_role("button", name=name, exact=True).click()


def told(page):
    return page.locator(".step-told").inner_text()


def sections(page):
    """The end's own words: each building's lines and the place to look."""
    return [" ".join(text.split()) for text in page.locator(".end:visible, .note:visible").all_inner_texts()]


def test_a_round_goes_station_by_station_and_says_at_the_end_what_the_service_says(live_server, anna, northfield):
    with chromium() as browser:
        page, complaints = opened(browser, live_server, anna, northfield, A_VOICE)
        opens_at_the_first_card(page)
        counts_four_cards(page)
        takes_two_entries_back(page)
        skips_to_card_4(page)
        measures_a_trap_by_the_cup(page)
        counts_legs(page)
        on_the_phone = ends_without_signal(page)
        tap(page, "Finish")
        tap(page, "Send the round")
        page.wait_for_url("**/end/")
        stored = sections(page)
    assert [each.replace(LEGS_TOLD, "") for each in stored] == on_the_phone
    # Without signal whatever asks the service is refused by the browser, which says so.
    assert [each for each in complaints if "ERR_INTERNET_DISCONNECTED" not in each] == []
    with as_factory():
        kept = Reading.objects.filter(farm=northfield, taken_on=NOW.date()).order_by("method", "station__number")
        found = [(each.method, each.count, each.reason, each.animals) for each in kept]
    assert found == [
        ("card", 42, "", None), ("card", 41, "", None), ("card", None, "lost", None), ("card", 700, "", None),
        ("leg", 88, "", ANIMALS), ("trap", 375, "", None),
    ]  # fmt: skip


def opens_at_the_first_card(page):
    seen = page.inner_text("main")
    assert "Card 1" in seen and "1 of 8" in seen and "Card 2" not in seen
    # Last week's count would steer this one.
    assert "Last time" not in seen and "40" not in seen
    until(page, WHOLE_STEP_IN_SIGHT)
    # It stays so: the browser's own way to the anchor, and a step that is shown later, don't take it away.
    page.wait_for_timeout(500)
    assert page.viewport_size["height"] == 667 and page.evaluate(WHOLE_STEP_IN_SIGHT)


def counts_four_cards(page):
    page.get_by_label("Specks on Card 1").fill("42")
    tap(page, "Next")
    assert told(page) == "Card 1: 42. Last time: 40. 7 still open."
    assert page.evaluate("document.activeElement.textContent").startswith("Card 2")
    assert page.evaluate(WHOLE_STEP_IN_SIGHT)
    # A digit too many is asked about once, and changed or not as the person says.
    page.get_by_label("Specks on Card 2").fill("400")
    tap(page, "Next")
    assert page.locator(".jump").inner_text().startswith("400? Last time: 40.")
    tap(page, "Change it")
    page.get_by_label("Specks on Card 2").fill("41")
    tap(page, "Next")
    assert told(page) == "Card 2: 41. Last time: 40. 6 still open."
    page.get_by_label("Specks on Card 3").fill("12o")
    tap(page, "Next")
    assert "Type a whole number" in page.locator(".station:visible .field-error:not([hidden])").inner_text()
    page.locator(".station:visible").get_by_text("lost", exact=True).click()
    assert page.get_by_label("Specks on Card 3").input_value() == ""
    tap(page, "Next")
    assert told(page) == "Card 3: no count, lost. 5 still open."
    page.get_by_label("Specks on Card 4").fill("700")
    tap(page, "Next")
    tap(page, "Yes, 700")
    assert told(page) == "Card 4: 700. Last time: 40. 4 still open."


def takes_two_entries_back(page):
    tap(page, "Undo")
    assert page.get_by_label("Specks on Card 4").input_value() == ""
    tap(page, "Undo")
    assert told(page) == "Card 3: taken back."
    page.locator(".station:visible").get_by_text("lost", exact=True).click()


def skips_to_card_4(page):
    tap(page, "All stations")
    lines = page.locator(".step-list ol button").all_inner_texts()
    assert [" ".join(line.split()) for line in lines][1:5] == [
        "Card 2 counted", "Card 3 no count: lost", "Card 4 open", "Card 5 open"]  # fmt: skip
    page.locator(".step-list").get_by_role("button", name="Card 4").click()
    # A switch of language comes back to this step.
    place = page.evaluate("location.hash")
    assert place.startswith("#at-") and page.locator("form.language [name=next]").input_value().endswith(place)
    page.get_by_label("Specks on Card 4").fill("700")
    tap(page, "Next")  # the question was answered with yes once
    tap(page, "Next")


def measures_a_trap_by_the_cup(page):
    page.locator(".station:visible summary", has_text="Only a part").click()
    page.get_by_label("Or measured: cups of flies").locator("visible=true").fill("1.5")
    tap(page, "Read aloud")
    read = page.evaluate("window.said.at(-1)")
    assert read.startswith("Trap 1") and "Gloves on." in read and "lost" in read
    tap(page, "All stations")
    tap(page, "Yes, 375")  # six times the last one


def counts_legs(page):
    page.locator(".step-list").get_by_role("button", name="Leg count 1").click()
    for number, flies in enumerate(ANIMALS, start=1):
        page.get_by_label(f"Flies on animal {number}", exact=True).fill(str(flies))
        tap(page, "Next animal")
    tap(page, "Finish")
    still_open = page.locator(".finish-open").inner_text()
    assert "Card 5" in still_open and "Trap 2" in still_open and "Card 1" not in still_open


def ends_without_signal(page):
    """The end as the phone works it out; afterwards the round goes on."""
    page.context.set_offline(True)
    tap(page, "Send the round")
    page.get_by_role("heading", name="The round waits on this phone").wait_for()
    assert page.locator("h1:visible").inner_text() == "The round waits on this phone"
    found = sections(page)
    # 42, 41 and 700 specks in 7 days come to 261.
    assert "261" in found[0] and "The round before, May 25: 40." in found[0]
    assert "375" in found[1] and "Card 4 in the calf barn holds the most." in found[-1]
    tap(page, "Go on: 2 still open")
    assert page.locator("h3:visible").inner_text().startswith("Card 5")
    page.context.set_offline(False)
    return found


def test_a_draft_put_back_is_read_anew_and_leaving_without_one_asks_first(live_server, anna, northfield):
    with acting(anna):
        add_person(farm=northfield, name="Lucia", initials="LU", now=NOW)
    with chromium() as browser:
        page, complaints = opened(browser, live_server, anna, northfield)
        # Nobody said who counts: the round opens at its list, where names are tapped.
        opens_with = page.locator("h2:visible").first.inner_text()
        silent = page.locator("[data-read-aloud]").first.is_visible()
        page.wait_for_selector("form[data-kept]")
        page.locator("form[data-round]").evaluate(RESTORED)
        states = page.locator(".step-list ol").inner_text()
        undo_is_off = page.get_by_role("button", name="Undo").is_disabled()
        page.locator(".step-list").get_by_role("button", name="Card 2").click()
        page.get_by_label("Specks on Card 2").press_sequentially("33")
        # As where this browser can store nothing.
        page.locator("form[data-round]").evaluate("form => { delete form.dataset.kept; }")
        questions = []
        page.on("dialog", lambda dialog: (questions.append(dialog.type), dialog.dismiss()))
        page.get_by_role("button", name="Español").click()
        stays = page.get_by_label("Specks on Card 2").input_value()
        page.locator("form[data-round]").evaluate("form => { form.dataset.kept = ''; }")
        page.get_by_role("button", name="Español").click()
        page.wait_for_function("document.documentElement.lang === 'es'")
        page.wait_for_selector("form[data-kept]")
        heading = page.locator("h3:visible").inner_text()
        kept = page.locator("input[name$=-count]:visible").input_value()
    assert opens_with == "All stations" and not silent
    assert "counted" in states and undo_is_off
    assert questions == ["beforeunload"] and stays == "33"
    assert heading.startswith("Tarjeta 2") and kept == "33" and complaints == []
