"""`manage.py demo --pictures DIR`: every page that the demo's people reach by links, in both languages and two widths.

One picture a page and width, English beside Spanish. What no link leads to is not pictured: the command names it.
"""

import io
import shutil
from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

from django.urls import Resolver404, resolve
from PIL import Image

from server.demo.processes import DemoError

# Width and height of the window in pixels of the page, and how many of the picture's make one of them.
WINDOWS = {"375": (375, 667, 1.0), "1440": (1440, 900, 0.6)}
LANGUAGES = ("en", "es")
LONGEST = 5_000  # pixels of the picture; what is below the fold of a long list looks like what is above
COLOURS = 48
GAP = 20
# Lines of a long list are drawn when they are scrolled to; a picture of the whole page scrolls nowhere.
DRAWN = """() => document.querySelectorAll("*").forEach((each) => {
  if (getComputedStyle(each).contentVisibility === "auto") each.style.contentVisibility = "visible";
})"""
LINKS = "() => [...document.querySelectorAll('a[href]')].map(link => link.href)"
# Pages that each role sees otherwise.
FOR_EACH = {"home", "farm"}
# A sign-in link works once, and signing out would end the walk.
NEVER = {"sign_in_link", "account_logout", "mail_html", "sent_digest_html", "sent_list_html", "sent_report_html"}


@dataclass
class Walk:
    """One role's way through the site: what was seen by anybody is not seen again."""

    site: str
    role: str
    seen: dict[str, str]  # a page's name to its address, "" where it is a file or leads on
    ways: deque[str] = field(default_factory=lambda: deque(["/"]))

    def note(self, links: list[str]) -> None:
        """Remember the links of this site, without their fragments."""
        own = (urlsplit(link) for link in links if link.startswith(self.site))
        self.ways.extend(f"{link.path}?{link.query}" if link.query else link.path for link in own)

    def steps(self) -> Iterator[tuple[str, str]]:
        """The name of each page not seen yet, and its address."""
        while self.ways:
            address = self.ways.popleft()
            name = self._name(address)
            if name and name not in self.seen:
                self.seen[name] = address
                yield name, address

    def _name(self, address: str) -> str:
        try:
            found = resolve(urlsplit(address).path).url_name or ""
        except Resolver404:
            return ""
        if found in NEVER or not found:
            return ""
        return f"{found}-{self.role}" if found in FOR_EACH else found


def take_pictures(site: str, links: dict[str, str], folder: Path) -> int:
    """Walk the site as each of `links` (role: sign-in link); the number of pages pictured in `folder`."""
    chromium = shutil.which("chromium")
    if chromium is None:
        raise DemoError("Pictures need Chromium: install the package chromium first.")
    from playwright.sync_api import sync_playwright  # a development package

    folder.mkdir(parents=True, exist_ok=True)
    seen: dict[str, str] = {}
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=chromium, args=["--no-sandbox"])
        for role, link in links.items():
            _walk(browser, Walk(site, role, seen), link, folder)
        browser.close()
    return sum(bool(address) for address in seen.values())


def _walk(browser: Any, walk: Walk, link: str, folder: Path) -> None:
    pages = {width: _window(browser, size) for width, size in WINDOWS.items()}
    first = pages["1440"]
    first.goto(link)
    first.get_by_role("main").get_by_role("button").first.click()
    cookies = first.context.cookies()
    for page in pages.values():
        page.context.add_cookies(cookies)
    for name, address in walk.steps():
        answered = first.request.get(walk.site + address)
        walk.note([answered.url])
        if not answered.headers.get("content-type", "").startswith("text/html") or answered.url != walk.site + address:
            walk.seen[name] = ""
            continue
        for width, page in pages.items():
            _beside([_picture(page, walk.site, address, language) for language in LANGUAGES]).save(
                folder / f"{name}-{width}.png", optimize=True
            )
        walk.note(first.evaluate(LINKS))
    for page in pages.values():
        page.context.close()


def _window(browser: Any, size: tuple[int, int, float]) -> Any:
    width, height, scale = size
    # As the site sends them: what a phone keeps may be of another language.
    return browser.new_page(
        viewport={"width": width, "height": height}, device_scale_factor=scale, service_workers="block"
    )


def _picture(page: Any, site: str, address: str, language: str) -> Image.Image:
    page.context.add_cookies([{"name": "django_language", "value": language, "url": site}])
    page.goto(site + address)
    page.evaluate(DRAWN)
    with Image.open(io.BytesIO(page.screenshot(full_page=True))) as shot:
        return shot.convert("RGB").crop((0, 0, shot.width, min(shot.height, LONGEST)))


def _beside(pictures: list[Image.Image]) -> Image.Image:
    width = sum(one.width for one in pictures) + GAP * (len(pictures) - 1)
    sheet = Image.new("RGB", (width, max(one.height for one in pictures)), "#857a69")
    left = 0
    for one in pictures:
        sheet.paste(one, (left, 0))
        left += one.width + GAP
    return sheet.quantize(COLOURS, dither=Image.Dither.NONE)
