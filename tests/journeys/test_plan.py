"""A farm's plan from nothing: a picture under it, cards put in their places by keyboard and by drag, an outline drawn,
all saved at once, and the week's levels on it.
"""

from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from farms.services import make_sign_in_link
from monitoring.models import Plan, PlanPicture, WeeklySummary
from monitoring.selectors import outlines_of, plan_of, spots_of
from tests.alerts.scene import check, count_week, monday
from tests.cast import acting, as_factory
from tests.journeys.chromium import OFFICE, chromium, press, tab_to, watched
from tests.monitoring.pictures import sketch, with_everything
from tests.server.web.pages import at

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True, databases="__all__")]


@pytest.fixture(autouse=True)
def scene(standing_clock, monkeypatch, group, northfield, cards):
    """Northfield after a counted week, without a plan."""
    monkeypatch.setenv("DJANGO_ALLOW_ASYNC_UNSAFE", "true")
    count_week(cards, monday(7), [20, 412, 80, "kept_out", "lost"])
    check(group, monday(7))
    with as_factory():  # the scene notes no figures of its week
        WeeklySummary.objects.filter(farm=northfield).update(devices=3)


def said(page):
    return page.locator("[data-said]").inner_text()


def keys(page, *pressed):
    for key in pressed:
        page.keyboard.press(key)


def laid(page, name, content, kind):
    """What the page says after a file was chosen and sent."""
    page.get_by_label("Sketch, photo or PDF").set_input_files({"name": name, "mimeType": kind, "buffer": content})
    page.get_by_role("button", name="Lay it under the plan").click()
    page.wait_for_load_state()
    return page.inner_text("main")


def by_keyboard(page, label, *steps):
    """Put a station down without a mouse."""
    tab_to(page, page.get_by_role("button", name=label, exact=True))
    keys(page, *steps, "Enter")


def by_drag(page, label, across, down):
    """Take a station by the mouse to a place of the sheet."""
    peg = page.get_by_role("button", name=label, exact=True)
    peg.scroll_into_view_if_needed()
    here, sheet = peg.bounding_box(), page.locator("[data-sheet]").bounding_box()
    page.mouse.move(here["x"] + here["width"] / 2, here["y"] + here["height"] / 2)
    page.mouse.down()
    page.mouse.move(sheet["x"] + 5, sheet["y"] + 5)
    page.mouse.move(sheet["x"] + across * sheet["width"], sheet["y"] + down * sheet["height"], steps=4)
    page.mouse.up()


def to_the_board(page, url, key, farm):
    """Sign in, see that there is no plan yet, and go where it is drawn."""
    page.goto(url + reverse("sign_in_link", args=[key]))
    page.get_by_role("main").get_by_role("button").click()
    page.goto(url + at("plan", farm))
    page.get_by_role("link", name="Draw the plan").click()
    page.wait_for_url("**/plan/edit/")


def undone(page, label):
    """How many of a station are in the tray again after "Undo"."""
    press(page, page.get_by_role("button", name="Undo"))
    return page.locator("[data-tray]").get_by_role("button", name=label, exact=True).count()


def taken_back(page, label):
    """What is said when a station is moved and Escape pressed."""
    tab_to(page, page.get_by_role("button", name=label, exact=True))
    keys(page, "Shift+ArrowLeft", "Escape")
    return said(page)


def triangle(page):
    """An outline by keyboard: a corner in the middle, one to the right, one below."""
    page.get_by_label("What it is").first.select_option(label="Calf barn")
    press(page, page.get_by_role("button", name="Draw its outline"))
    keys(page, "Enter", *["Shift+ArrowRight"] * 4, "Enter", *["Shift+ArrowDown"] * 4, "Enter")
    press(page, page.get_by_role("button", name="Close the outline"))
    return said(page)


def test_a_plan_is_drawn_by_keyboard_and_by_drag_and_shows_the_week(live_server, anna, northfield, calf_barn, cards):
    key = make_sign_in_link(user=anna, now=timezone.now(), valid_for=timedelta(hours=1))
    with chromium() as browser:
        page = browser.new_context(**OFFICE).new_page()
        complaints = watched(page)
        to_the_board(page, live_server.url, key, northfield)
        refused = laid(page, "yard.png", b"PK\x03\x04" + bytes(99), "image/png")
        complaints.clear()  # 422 is an answer that the console names
        page.goto(live_server.url + at("plan_edit", northfield))
        taken = laid(page, "yard.jpg", with_everything(sketch()), "image/jpeg")

        # Out of the tray to the middle, then by one percent, by five, and put down.
        by_keyboard(page, "Card 1", "Enter", "ArrowLeft", "ArrowLeft", "Shift+ArrowUp")
        first = said(page)
        by_keyboard(page, "Card 2", "ArrowRight", "ArrowRight", "Shift+ArrowDown")
        back = taken_back(page, "Card 2")
        by_drag(page, "Card 3", 0.25, 0.75)
        by_drag(page, "Card 4", 0.6, 0.6)
        in_tray = undone(page, "Card 4")
        by_drag(page, "Card 4", 0.6, 0.2)

        drawn = triangle(page)
        press(page, page.get_by_role("button", name="Save the plan"))
        page.wait_for_url("**/plan/")
        seen = page.inner_text("main")
        marks = page.locator(".only-wide .mark").evaluate_all("all => all.map(each => each.getAttribute('class'))")
        picture = page.locator(".only-wide image").evaluate(
            "image => fetch(image.href.baseVal).then(got => got.status)"
        )

    assert "whatever its name says" in refused and "lies under the plan" in taken
    assert first == "Card 1 is put down, 48 percent from the left, 45 percent from the top."
    assert back == "Card 2 is back where it was." and in_tray == 1
    assert drawn == "Calf barn is drawn."
    assert "The plan is saved." in seen and "Not on the plan yet: Card 5." in seen
    assert [mark.split()[1] for mark in marks] == ["over", "near", "below", "none"]
    assert (picture, complaints) == (200, [])
    with acting(anna):
        spots, (outline,) = spots_of(northfield), outlines_of(plan_of(northfield))
    assert (spots[cards[0].id], spots[cards[1].id]) == ((0.48, 0.45), (0.51, 0.55))
    assert spots[cards[2].id] == pytest.approx((0.25, 0.75), abs=0.01)
    assert outline.facility_id == calf_barn.id and outline.points == ((0.5, 0.5), (0.7, 0.5), (0.7, 0.7))
    with as_factory():
        assert PlanPicture.objects.count() == 1 and Plan.objects.count() == 2
