"""A real browser for journeys: Debian's Chromium, without a window."""

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import timedelta
from typing import Any

import pytest
from django.urls import reverse
from django.utils import timezone

from farms.services import make_sign_in_link

PHONE = {"viewport": {"width": 375, "height": 667}, "is_mobile": True, "has_touch": True}
TABLET = {"viewport": {"width": 768, "height": 1024}, "is_mobile": True, "has_touch": True}
OFFICE = {"viewport": {"width": 1440, "height": 900}}
MOST_TABS = 200
# What is wrong with the place of the focus after a Tab, in a word; empty where nothing is. A box that is drawn by its
# label has its outline there; the parts of a field for a day draw their own. The focus goes down the page and begins
# again at the link that skips to the content.
HERE = "document.activeElement.outerHTML.slice(0, 200)"
LOST = """() => {
  const here = document.activeElement, before = window.focusBefore;
  if (here === document.body || here === before) return "";
  const drawn = [here, here.closest("label")].filter(Boolean);
  const outlined = drawn.some((each) => {
    const style = getComputedStyle(each);
    return style.outlineStyle !== "none" && parseFloat(style.outlineWidth) >= 2;
  });
  if (!outlined) return "has no outline";
  const seen = drawn.some((each) => {
    const box = each.getBoundingClientRect();
    return box.width > 1 && box.bottom > 0 && box.top < innerHeight && box.right > 0 && box.left < innerWidth;
  });
  if (!seen && !here.matches(".skip-link")) return "is out of sight";
  const back = before?.isConnected && before.compareDocumentPosition(here) & Node.DOCUMENT_POSITION_PRECEDING;
  return back && !here.matches(".skip-link") ? "goes back up the page" : "";
}"""


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


def signed_in(browser: Any, site: str, user: Any, size: dict[str, Any]) -> tuple[Any, list[str]]:
    """A page of this size on which somebody came in by a link, and what it complains of."""
    key = make_sign_in_link(user=user, now=timezone.now(), valid_for=timedelta(hours=1))
    page = browser.new_page(**size)
    complaints = watched(page)
    page.goto(site + reverse("sign_in_link", args=[key]))
    press(page, page.get_by_role("main").get_by_role("button"))
    page.wait_for_url(lambda address: "/sign-in/" not in address)
    return page, complaints


def tab_to(page: Any, wanted: Any) -> None:
    """Press Tab until the wanted thing has the focus, as somebody without a mouse does, who sees where it is."""
    for _ in range(MOST_TABS):
        if wanted.evaluate("here => here === (window.focusBefore = document.activeElement)"):
            return
        page.keyboard.press("Tab")
        wrong = page.evaluate(LOST)
        assert not wrong, f"The focus {wrong} at {page.evaluate(HERE)}."
    raise AssertionError(f"Tab never reaches {wanted}.")


def press(page: Any, wanted: Any, key: str = "Enter") -> None:
    """Go there by Tab and press a key."""
    tab_to(page, wanted)
    page.keyboard.press(key)
