"""A phone in the barn, for journeys: its browser remembers, its store is looked into, a round is typed and sent."""

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import timedelta
from typing import Any

import pytest
from django.urls import reverse
from django.utils import timezone

from farms.services import make_sign_in_link
from tests.journeys.chromium import PHONE
from tests.patience import wait_until

# One grey point: a PNG, made by hand for this test.
PICTURE = bytes.fromhex(
    "89504e470d0a1a0a0000000d49484452000000010000000108000000003a7e9b550000"
    "000a49444154789c636800000082008177cd72b60000000049454e44ae426082"
)
READY = "() => document.querySelector('form[data-round]')?.dataset.round === 'ready'"
# Paths of the pages kept on the phone.
KEPT = """async () => (await Promise.all((await caches.keys()).map(async (name) =>
    (await (await caches.open(name)).keys()).map((each) => new URL(each.url).pathname)))).flat()"""
READY_FOR_THE_BARN = rf"""async (path) => {{
    const kept = await ({KEPT})();
    return kept.includes(path) && kept.includes("/without-signal/")
        && ["round", "newer"].every((name) => kept.some((each) => each.includes(`/offline/${{name}}.`)))
        && Boolean((await navigator.serviceWorker.getRegistration())?.active);
}}"""
GO_TO = """(name) => {
    const named = (place) => place.querySelector("h3").textContent.trim().startsWith(name);
    location.hash = [...document.querySelectorAll(".station")].find(named).id;
}"""
STORE = """new Promise((done) => {
    const asked = indexedDB.open("flyround");
    asked.onsuccess = () => done(asked.result);
})"""
WAITING = f"""async () => {{
    const base = await {STORE};
    const asked = base.transaction("rounds").objectStore("rounds").getAll();
    await new Promise((done) => {{ asked.onsuccess = done; }});
    base.close();
    return asked.result.map(({{ id, state, initials }}) => ({{ id, state, initials }}));
}}"""
# What waits is so many, all in one state where one is named.
SO_MANY = f"""async ([number, state]) => {{
    const all = await ({WAITING})();
    return all.length === number && all.every((each) => !state || each.state === state);
}}"""


@contextmanager
def phones(folder: Any) -> Iterator[Any]:
    """Phones with a memory of their own: each opening of the same name finds what the one before left."""
    found = shutil.which("chromium")
    if found is None:
        pytest.skip("Chromium is not installed here: journeys in a browser are left out.")
    from playwright.sync_api import sync_playwright

    with sync_playwright() as play:
        yield lambda name: play.chromium.launch_persistent_context(
            str(folder / name), executable_path=found, args=["--no-sandbox"], **PHONE
        )


def link_for(user: Any) -> str:
    key = make_sign_in_link(user=user, now=timezone.now(), valid_for=timedelta(hours=1))
    return reverse("sign_in_link", args=[key])


def until(page: Any, condition: str, arg: Any = None) -> None:
    """Playwright's own waiting would evaluate text inside the page, which the site's policy refuses."""
    from playwright.sync_api import Error

    def holds() -> bool:
        try:
            return bool(page.evaluate(condition, arg))
        except Error as error:
            # The page went on to another while it was asked.
            if "context was destroyed" in str(error) or "navigation" in str(error):
                return False
            raise

    wait_until(holds, condition)


def sign_in(page: Any, site: str, link: str) -> None:
    page.goto(site + link)
    page.get_by_role("main").get_by_role("button").click()
    page.wait_for_load_state()


def round_page(page: Any, site: str, farm: Any) -> Any:
    """The round's page, with everything it needs kept on the phone."""
    page.goto(site + reverse("count", args=[farm.id]))
    until(page, READY)
    until(page, READY_FOR_THE_BARN, reverse("count", args=[farm.id]))
    return page


def type_counts(page: Any, counts: dict[int, int]) -> None:
    """Go to each card as its tag does, and type."""
    for number, count in counts.items():
        page.evaluate(GO_TO, f"Card {number}")
        page.get_by_label(f"Specks on Card {number}").fill(str(count))


def waiting(page: Any, number: int, state: str | None = None) -> list[dict[str, Any]]:
    """What waits on this phone, once it is so many (in a state)."""
    until(page, SO_MANY, [number, state])
    return page.evaluate(WAITING)


def send(page: Any) -> None:
    page.get_by_role("button", name="Finish", exact=True).click()
    page.get_by_role("button", name="Send the round").click()


def photographs_card_4(page: Any) -> None:
    page.evaluate(GO_TO, "Card 4")
    camera = {"name": "a.png", "mimeType": "image/png", "buffer": PICTURE}
    page.get_by_label("Take a photo of Card 4").set_input_files(camera)
    page.get_by_role("img", name="Photo: Card 4").wait_for()
