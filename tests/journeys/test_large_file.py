"""Somebody stores a large file and watches the bar: it moves on the page as it stands, and ends with the result."""

import os
from datetime import timedelta
from pathlib import Path

import pytest
from django.urls import reverse
from django.utils import timezone

from farms.services import make_sign_in_link
from server import imports
from tests.cast import NOW
from tests.journeys.chromium import OFFICE, PHONE, chromium, watched
from tests.server.web.test_file import large

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True, databases="__all__")]
PICTURES = os.environ.get("FLYROUND_PICTURES")


@pytest.fixture(autouse=True)
def scene(standing_clock, tmp_path, monkeypatch):
    monkeypatch.setenv("DJANGO_ALLOW_ASYNC_UNSAFE", "true")
    (tmp_path / "counts.csv").write_bytes(large())


@pytest.fixture
def rung(monkeypatch):
    heard = []
    monkeypatch.setattr(imports, "ring", lambda task, waiting: heard.append(waiting))
    return heard


def stored_by(browser, live_server, user, farm, file, **context):
    """The page after a file was chosen, looked through and stored."""
    key = make_sign_in_link(user=user, now=timezone.now(), valid_for=timedelta(hours=1))
    page = browser.new_context(**context).new_page()
    complaints = watched(page)
    page.goto(live_server.url + reverse("sign_in_link", args=[key]))
    page.get_by_role("main").get_by_role("button").click()
    page.goto(live_server.url + reverse("import", args=[farm.id]))
    page.locator("input[type=file]").set_input_files(file)
    page.get_by_role("button", name="Look through it").click()
    page.get_by_role("button", name="Store the good rows only").click()
    return page, complaints


def photograph(page, name):
    """Kept where FLYROUND_PICTURES says, for somebody to look at."""
    if PICTURES:
        page.screenshot(path=Path(PICTURES) / f"{name}.png", full_page=True)


@pytest.mark.parametrize(("name", "context"), [("375", PHONE), ("1440", OFFICE)])
def test_the_bar_moves_and_ends_with_what_was_left_out(
    live_server, anna, northfield, tmp_path, rung, monkeypatch, name, context
):
    monkeypatch.setattr(imports, "ROWS_IN_A_PART", 1_500)
    with chromium() as browser:
        page, complaints = stored_by(browser, live_server, anna, northfield, tmp_path / "counts.csv", **context)
        bar = page.locator("progress")
        assert bar.get_attribute("max") is None
        page.evaluate("window.sameDocument = true")
        run = imports.begin(rung[0], NOW)
        assert imports.go_on(run, NOW) and imports.go_on(run, NOW)
        page.get_by_text("1,500 of 2,400 rows").wait_for()
        assert (bar.get_attribute("value"), bar.get_attribute("max")) == ("1500", "2400")
        photograph(page, f"progress-{name}")
        assert imports.go_on(run, NOW) is False
        page.get_by_role("heading", name="The file is stored").wait_for()
        assert page.evaluate("window.sameDocument") is True
        assert page.locator("tbody tr").count() == 100
        assert complaints == []
        photograph(page, f"stored-{name}")


def test_without_scripts_the_page_loads_itself_anew(live_server, anna, northfield, tmp_path, rung):
    with chromium() as browser:
        page, _complaints = stored_by(
            browser, live_server, anna, northfield, tmp_path / "counts.csv", java_script_enabled=False, **OFFICE
        )
        run = imports.begin(rung[0], NOW)
        while imports.go_on(run, NOW):
            pass
        page.get_by_role("heading", name="The file is stored").wait_for(timeout=10_000)
