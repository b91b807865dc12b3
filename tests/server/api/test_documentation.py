"""The documentation in a browser: drawn whole, with nothing that the site's content policy refuses."""

import shutil
from typing import Any

import pytest

LOOKS_AT_THE_END = 8
BROWSER = shutil.which("chromium")
pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(BROWSER is None, reason="Chromium is not installed (Debian: chromium)"),
    pytest.mark.django_db(transaction=True, databases="__all__"),
]


def test_the_documentation_is_drawn_without_a_complaint_and_without_the_network(live_server: Any):
    from playwright.sync_api import sync_playwright

    said: list[str] = []
    asked: list[str] = []
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=BROWSER, args=["--no-sandbox"])
        page = browser.new_page()
        page.on("console", lambda message: said.append(message.text))
        page.on("pageerror", lambda error: said.append(str(error)))
        page.on("request", lambda request: asked.append(request.url))
        page.goto(f"{live_server.url}/api/v1/docs")
        page.wait_for_selector(".opblock-tag")
        titles = seen_on_the_way_down(page, until=".opblock-put")
        page.locator(".opblock-put").first.click()
        page.wait_for_selector(".opblock-body pre.example, .opblock-body .highlight-code")
        titles |= seen_on_the_way_down(page)
        browser.close()
    assert said == []
    assert {url.startswith((live_server.url, "data:")) for url in asked} == {True}
    assert {"rounds", "readings", "stations", "alerts"} <= titles


def seen_on_the_way_down(page: Any, until: str = "") -> set[str]:
    """The headings of a page that draws what is in sight only, scrolled down to its end or to what is looked for."""
    titles: set[str] = set()
    at_its_end = 0
    for _ in range(200):
        titles |= {title.strip() for title in page.locator(".opblock-tag").all_inner_texts()}
        # What comes into sight at the end makes the page longer again.
        ends = page.evaluate("window.scrollY + window.innerHeight >= document.body.scrollHeight - 2")
        at_its_end = at_its_end + 1 if ends else 0
        if at_its_end > LOOKS_AT_THE_END or (until and page.locator(until).count()):
            break
        page.evaluate("window.scrollBy(0, 500)")
        page.wait_for_timeout(250)
    return titles
