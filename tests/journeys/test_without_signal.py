"""A round without signal: cut off, killed with its browser, and stored exactly once when there is signal again."""

import os
import re
import signal
from typing import Any

import pytest
from django.test import RequestFactory
from django.urls import reverse

from monitoring.models import Photo, Reading, Round
from server.web.holder import holder_of
from tests.cast import NOW, as_factory
from tests.collected import HASHED, collect, needed_by
from tests.journeys.barn_phone import (
    KEPT,
    READY,
    STORE,
    link_for,
    phones,
    photographs_card_4,
    round_page,
    send,
    sign_in,
    type_counts,
    until,
    waiting,
)

pytestmark = [
    pytest.mark.browser,
    pytest.mark.django_db(transaction=True, databases="__all__"),
    pytest.mark.usefixtures("in_the_barn"),
]
SOMEWHERE = "(count) => [...document.querySelectorAll('[name$=-count]')].some((box) => box.value === count)"
# A second round before the first in the queue: its ids its own, its first count not a number.
WITH_A_WRONG_ONE = f"""async () => {{
    const base = await {STORE};
    const change = base.transaction("rounds", "readwrite");
    const rounds = change.objectStore("rounds");
    const asked = rounds.getAll();
    asked.onsuccess = () => {{
        const [good] = asked.result;
        const fields = good.fields.map(([name, value]) => {{
            if (/_id$/.test(name) && value && !name.endsWith("placement_id")) return [name, crypto.randomUUID()];
            return [name, name.endsWith("-count") && value === "20" ? "4o" : value];
        }});
        const id = fields.find(([name]) => name === "walk-round_id")[1];
        rounds.put({{ ...good, id, fields, submitted_at: good.submitted_at - 1 }});
    }};
    await new Promise((done) => {{ change.oncomplete = done; }});
    base.close();
}}"""
# As the first version made it, with a round that waits since four days and that the server will refuse.
VERSION_1 = """(farm) => new Promise((done) => {
    const asked = indexedDB.open("flyround", 1);
    asked.onupgradeneeded = () => {
        asked.result.createObjectStore("drafts", { keyPath: "key" });
        asked.result.createObjectStore("notes", { keyPath: "name" });
        const since = Date.now() - 4 * 24 * 3600 * 1000;
        asked.result.createObjectStore("rounds", { keyPath: "id" }).put({
            id: "0197d0c2-5c00-7000-8000-000000000001", farm, farm_name: "Northfield", holder: "HOLDER", initials: "A",
            stations: 1, begun_at: since, submitted_at: since, state: "refused", tries: 1, next_at: 0,
            refused: { detail: "Card 1 was counted already.", errors: [] }, fields: [["walk-round_id", "x"]],
        });
    };
    asked.onsuccess = () => { asked.result.close(); done(); };
})"""


def kill(folder: Any) -> None:
    """End a browser as a dead battery does. Its lock names its process: host-pid."""
    pid = int(os.readlink(folder / "SingletonLock").rpartition("-")[2])
    os.kill(pid, signal.SIGKILL)


def opaque_holder(user: Any) -> str:
    request = RequestFactory().get("/")
    request.user = user
    return holder_of(request)


def stored(farm: Any) -> list[tuple[int, int | None]]:
    with as_factory():
        assert Round.objects.filter(farm=farm).count() <= 1
        return [
            (each.station.number, each.count) for each in Reading.objects.filter(farm=farm).order_by("station__number")
        ]


def goes_on_at_card_3(page: Any) -> None:
    until(page, READY)
    page.get_by_text("No signal: this page is from").wait_for()
    assert "You are going on with the round" in page.inner_text("main")
    assert page.get_by_label("Specks on Card 3").is_visible()
    assert page.get_by_label("Specks on Card 3").input_value() == "25"


def signs_out_with_a_file(page: Any, site: str) -> Any:
    """The file in which the round that waits is saved."""
    page.goto(site + reverse("account_logout"))
    page.get_by_role("heading", name="1 round still waits on this phone").wait_for()
    with page.expect_download() as saved:
        page.get_by_role("button", name="Save as a file").click()
    page.get_by_role("main").get_by_role("button", name="Sign out").click()
    page.wait_for_url(site + "/")
    return saved.value.path()


def all_of_the_round_is_kept(paths: list[str], tree: Any) -> None:
    """Each script by its content's name, and with it all that it imports: no version is mixed with another."""
    scripts = {path.removeprefix("/static/") for path in paths if path.endswith(".js")}
    assert [name for name in scripts if not re.search(HASHED, name)] == []
    there = {(tree / name).resolve() for name in scripts}
    assert all(needed_by(path) <= there for path in there)
    assert {path.name.partition(".")[0] for path in there} >= {"steps", "fields", "round", "draft", "store", "site"}


def test_a_round_outlives_the_signal_and_the_browser_and_is_stored_once(
    live_server, anna, northfield, cards, tmp_path, settings
):
    """With the files as in production, where each is named by its content."""
    tree = collect(settings, tmp_path / "static")
    site, link, next_link = live_server.url, link_for(anna), link_for(anna)
    with phones(tmp_path) as phone:
        context = phone("one")
        page = context.pages[0]
        sign_in(page, site, link)
        round_page(page, site, northfield)
        type_counts(page, {1: 20, 2: 30})
        paths = page.evaluate(KEPT)
        context.set_offline(True)
        type_counts(page, {3: 25})
        # Shut in the middle, and opened again in the barn by a tag: the page comes from the phone and says so.
        page.goto(site + reverse("tag", args=[northfield.id, cards[2].id]))
        goes_on_at_card_3(page)
        photographs_card_4(page)
        type_counts(page, {4: 600})
        send(page)
        page.get_by_role("heading", name="The round waits on this phone").wait_for()
        assert page.locator("#waits").inner_text().startswith("1 round waiting, 1 photo waiting")
        page.goto(site + reverse("rounds", args=[northfield.id]))
        assert "No signal here" in page.inner_text("main")
        page.get_by_role("link", name="Count a round: Northfield").wait_for()
        waits = waiting(page, 1)
        kill(tmp_path / "one")
        context = phone("one")
        page = context.pages[0]
        # A killed browser may have lost its newest cookies, and the session with them.
        sign_in(page, site, next_link)
        waiting(page, 0)
        page.evaluate("dispatchEvent(new Event('online'))")
        page.locator("#waits").wait_for(state="hidden")
        context.close()
    all_of_the_round_is_kept(paths, tree)
    assert [each["state"] for each in waits] == ["waiting"] and waits[0]["initials"] == "A"
    assert stored(northfield) == [(1, 20), (2, 30), (3, 25), (4, 600)]
    with as_factory():
        photo = Photo.objects.get(farm=northfield)
        assert (photo.station.number, photo.kind) == (4, "card")
        assert Round.objects.get(farm=northfield).walked_on == NOW.date()


def test_two_tabs_of_one_round_store_it_once_and_a_refused_one_blocks_nothing(live_server, anna, northfield, tmp_path):
    site, link = live_server.url, link_for(anna)
    with phones(tmp_path) as phone:
        context = phone("one")
        page = context.pages[0]
        sign_in(page, site, link)
        other = context.new_page()
        round_page(page, site, northfield)
        round_page(other, site, northfield)
        type_counts(page, {1: 20})
        until(other, SOMEWHERE, "20")
        type_counts(other, {2: 30})
        until(page, SOMEWHERE, "30")
        context.set_offline(True)
        send(page)
        waiting(page, 1)
        # The other tab has nothing of it any more that it could send again: it begins a new round.
        until(other, READY)
        until(other, "() => !document.querySelector('[name$=-count]').value")
        send(other)
        other.get_by_text("Nothing was typed.").wait_for()
        waiting(page, 1)
        # A round that the server will refuse goes before it.
        page.evaluate(WITH_A_WRONG_ONE)
        waiting(page, 2)
        context.set_offline(False)
        page.goto(site + reverse("waiting"))
        waiting(page, 1, "refused")
        page.get_by_text("Card 1: Type a whole number").wait_for()
        told = page.inner_text("main")
        page.get_by_role("button", name="Mend it").click()
        page.wait_for_load_state()
        typed = page.get_by_label("Specks on Card 1").input_value()
        context.close()
    assert "could not be stored" in told and typed == "4o"
    assert stored(northfield) == [(1, 20), (2, 30)]


def test_signing_out_hides_what_waits_until_somebody_of_the_farm_signs_in(
    live_server, anna, ben, carla, northfield, southmead, tmp_path
):
    site, links = live_server.url, {user.name: link_for(user) for user in (ben, carla, anna)}
    with phones(tmp_path) as phone:
        context = phone("one")
        context.add_cookies([{"name": "django_language", "value": "en", "url": site}])
        page = context.pages[0]
        sign_in(page, site, links["Ben"])
        context.add_cookies([{"name": "django_language", "value": "en", "url": site}])
        round_page(page, site, northfield)
        type_counts(page, {1: 20})
        # The session ends meanwhile: nothing is lost, and nothing is sent.
        session = next(each for each in context.cookies() if each["name"] == "sessionid")
        context.clear_cookies(name="sessionid")
        send(page)
        waiting(page, 1, "signed_out")
        context.add_cookies([session])
        context.route("**/waiting/session/", lambda route: route.abort())
        saved = signs_out_with_a_file(page, site)
        pages = page.evaluate(KEPT)
        context.unroute("**/waiting/session/")
        page.goto(site + reverse("waiting"))
        page.get_by_text("B: 1 round").wait_for()
        hidden = page.inner_text("main")
        sign_in(page, site, links["Carla"])
        page.goto(site + reverse("waiting"))
        waiting(page, 1, "not_yours")
        foreign = page.inner_text("main")
        sign_in(page, site, links["Anna"])
        waiting(page, 0)
        # The file is read again, and what is stored already is known.
        page.goto(site + reverse("waiting"))
        page.get_by_label("Load a saved file").set_input_files(saved)
        page.get_by_text("1 round was read from the file.").wait_for()
        waiting(page, 0)
        context.close()
    assert not any("/count/" in path for path in pages)
    assert "Northfield" not in hidden + foreign and "Delete" not in hidden + foreign
    assert stored(northfield) == [(1, 20)]


def test_a_store_of_version_1_is_opened_with_all_that_waits_in_it(live_server, anna, northfield, tmp_path):
    site, link, holder = live_server.url, link_for(anna), opaque_holder(anna)
    with phones(tmp_path) as phone:
        context = phone("one")
        page = context.pages[0]
        # A page of the site without its scripts: nothing has opened the store yet.
        page.goto(site + "/healthz")
        page.evaluate(VERSION_1.replace("HOLDER", holder), str(northfield.id))
        sign_in(page, site, link)
        page.goto(site + reverse("waiting"))
        page.get_by_role("heading", name="Northfield").wait_for()
        waits = waiting(page, 1)
        stores = page.evaluate("indexedDB.databases().then(all => all.map(each => each.version))")
        page.get_by_text("for 4 days").wait_for()
        context.close()
    assert [each["id"] for each in waits] == ["0197d0c2-5c00-7000-8000-000000000001"] and stores == [2]
