"""The documentation in a browser: drawn whole, with nothing that the site's content policy refuses."""

import shutil
from typing import Any

import pytest

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
        page.wait_for_selector(".opblock-put")
        page.locator(".opblock-put").first.click()
        page.wait_for_selector(".opblock-body pre.example, .opblock-body .highlight-code")
        titles = page.locator(".opblock-tag").all_inner_texts()
        browser.close()
    assert said == []
    assert {url.startswith((live_server.url, "data:")) for url in asked} == {True}
    assert {"rounds", "readings", "stations", "alerts"} <= {title.strip() for title in titles}
