"""A real browser for journeys: Debian's Chromium, without a window."""

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import pytest

PHONE = {"viewport": {"width": 375, "height": 720}, "is_mobile": True, "has_touch": True}
OFFICE = {"viewport": {"width": 1440, "height": 900}}
MOST_TABS = 200


@contextmanager
def chromium() -> Iterator[Any]:
    """The browser; the test is skipped with one line where there is none."""
    found = shutil.which("chromium")
    if found is None:
        pytest.skip("Chromium is not installed here: journeys in a browser are left out.")
    from playwright.sync_api import sync_playwright

    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=found, args=["--no-sandbox"])
        try:
            yield browser
        finally:
            browser.close()


def watched(page: Any) -> list[str]:
    """What the page complains of from now on: refused scripts and styles, errors."""
    complaints: list[str] = []
    page.on("console", lambda said: complaints.append(said.text) if said.type in ("error", "warning") else None)
    page.on("pageerror", lambda error: complaints.append(str(error)))
    return complaints


def tab_to(page: Any, wanted: Any) -> None:
    """Press Tab until the wanted thing has the focus, as somebody without a mouse does."""
    for _ in range(MOST_TABS):
        if wanted.evaluate("here => here === document.activeElement"):
            return
        page.keyboard.press("Tab")
    raise AssertionError(f"Tab never reaches {wanted}.")


def press(page: Any, wanted: Any, key: str = "Enter") -> None:
    """Go there by Tab and press a key."""
    tab_to(page, wanted)
    page.keyboard.press(key)
