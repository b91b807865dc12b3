"""How what waits on a phone leaves it: told to wait, one sender at a time, deleted after a question, by the worker."""

import time
from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils.http import http_date

from farms.ledger import Actor
from monitoring.models import Photo, Reading, Round
from monitoring.services import ReentryTyped, record_reentry
from tests.cast import NOW, acting, as_factory
from tests.journeys.barn_phone import (
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
)  # fmt: skip

pytestmark = [
    pytest.mark.browser,
    pytest.mark.django_db(transaction=True, databases="__all__"),
    pytest.mark.usefixtures("in_the_barn"),
]
# As in Safari, and in browsers older still: no Background Sync, no Web Locks.
PLAIN_BROWSER = """
  Object.defineProperty(Navigator.prototype, "locks", { value: undefined });
  Object.defineProperty(ServiceWorkerRegistration.prototype, "sync", { value: undefined });
"""
# A count that stands there without anybody having typed it on this page, as when a draft is put back.
PUT_BACK = """() => {
  const form = document.querySelector("form[data-round]");
  form.querySelector("[name$='-count']").value = "77";
  form.dispatchEvent(new CustomEvent("round:restored", { bubbles: true }));
}"""
CHOSEN = """() => [...document.querySelectorAll("[data-method=card] [name$=-reason]:checked")].map(
    (each) => each.value)"""
IN_STORE = f"""async (name) => {{
    const base = await {STORE};
    const asked = base.transaction(name).objectStore(name).getAll();
    await new Promise((done) => {{ asked.onsuccess = done; }});
    base.close();
    return asked.result.map(({{ bytes, fields, ...about }}) => about);
}}"""
# Seconds until the one round that waits is due; null while the server has not told it to wait.
TOLD_TO_WAIT = f"""async () => {{
    const [round] = await ({IN_STORE})("rounds");
    return round.told_to_wait ? (round.next_at - Date.now()) / 1000 : null;
}}"""
# Another tab of this browser is sending, and is killed over it.
LEASED = f"""async () => {{
    const base = await {STORE};
    const change = base.transaction("notes", "readwrite");
    const until = Date.now() + 1500;
    change.objectStore("notes").put({{ name: "lease", mine: "another tab", until }});
    await new Promise((done) => {{ change.oncomplete = done; }});
    base.close();
    window.leasedUntil = until;
}}"""


@pytest.fixture
def kept_out(northfield, calf_barn, anna):
    typed = ReentryTyped(NOW, NOW + timedelta(hours=12), "do not enter until dry", calf_barn)
    with acting(anna):
        record_reentry(farm=northfield, typed=typed, actor=Actor("farm_staff", anna.id), now=NOW)


def stored(farm):
    with as_factory():
        assert Round.objects.filter(farm=farm).count() <= 1
        found = Reading.objects.filter(farm=farm).order_by("station__number")
        return [(each.station.number, each.count, each.reason) for each in found]


def too_much(status, when):
    return {"status": status, "headers": {"Retry-After": when}}


def answers(page, *refusals):
    """Answer each round that is sent with the next of these, then the service does. Gives when each came."""
    asked, left = [], list(refusals)

    def handle(route):
        if route.request.method != "POST":
            return route.fallback()
        asked.append(time.time() * 1000)
        return route.fulfill(**left.pop(0)) if left else route.fallback()

    page.context.route("**/count/", handle)
    return asked


def a_number_takes_kept_out_away(page):
    assert page.evaluate(CHOSEN) == ["kept_out"] * 5
    page.evaluate(PUT_BACK)
    assert page.evaluate(CHOSEN) == ["", *["kept_out"] * 4]
    type_counts(page, {1: 20, 2: 30})
    assert page.evaluate(CHOSEN) == ["", "", *["kept_out"] * 3]


def is_told_to_wait(page, about):
    until(page, f"async () => await ({TOLD_TO_WAIT})() !== null")
    assert about - 30 < page.evaluate(TOLD_TO_WAIT) <= about


def is_deleted_after_the_question(page):
    questions, says_yes = [], []
    page.on("dialog", lambda asked: (questions.append(asked.message), asked.accept() if says_yes else asked.dismiss()))
    page.get_by_role("button", name="Delete it").click()
    waiting(page, 1)
    says_yes.append(True)
    page.get_by_role("button", name="Delete it").click()
    waiting(page, 0)
    page.get_by_text("Nothing waits.").wait_for()
    assert questions == ["Delete this round of Northfield for good? It was never stored anywhere else."] * 2
    assert page.evaluate(IN_STORE, "photos") == []


def comes_back_from_its_file(page, file):
    """While another tab has the lease, nothing is sent; its end comes by itself."""
    page.evaluate(LEASED)
    page.get_by_label("Load a saved file").set_input_files(file)
    waiting(page, 1)
    waiting(page, 0)
    until(page, f"async () => !(await ({IN_STORE})('photos')).length")
    leased_until = page.evaluate("window.leasedUntil")
    assert "lease" not in [each["name"] for each in page.evaluate(IN_STORE, "notes")]
    return leased_until


def test_a_plain_browser_waits_as_long_as_it_is_told_and_deletes_only_after_a_question(
    live_server, anna, northfield, kept_out, tmp_path
):
    site, link = live_server.url, link_for(anna)
    in_an_hour = http_date(time.time() + 3600)
    with phones(tmp_path) as phone:
        context = phone("one")
        context.add_init_script(PLAIN_BROWSER)
        page = context.pages[0]
        sign_in(page, site, link)
        round_page(page, site, northfield)
        a_number_takes_kept_out_away(page)
        photographs_card_4(page)
        asked = answers(page, too_much(429, "300"), too_much(503, in_an_hour))
        send(page)
        page.get_by_role("heading", name="The round waits on this phone").wait_for()
        end = page.locator(".end:visible").inner_text()
        is_told_to_wait(page, 300)
        # Neither a page that opens nor signal that comes back hurries it; only a person does.
        page.goto(site + reverse("waiting"))
        page.evaluate("dispatchEvent(new Event('online'))")
        page.get_by_role("button", name="Try now").click()
        is_told_to_wait(page, 3600)
        assert len(asked) == 2
        with page.expect_download() as saved:
            page.get_by_role("button", name="Save as a file").click()
        is_deleted_after_the_question(page)
        assert len(asked) == 2
        leased_until = comes_back_from_its_file(page, saved.value.path())
        assert len(asked) == 3 and asked[2] >= leased_until
        context.close()
    assert "25 specks a card" in " ".join(end.split()) and "3 without a count are left out" in end
    assert stored(northfield) == [(1, 20, ""), (2, 30, ""), *((card, None, "kept_out") for card in (3, 4, 5))]
    with as_factory():
        assert Photo.objects.get(farm=northfield).station.number == 4


def test_where_there_is_background_sync_the_worker_sends_what_no_page_could(live_server, anna, northfield, tmp_path):
    site, link = live_server.url, link_for(anna)
    with phones(tmp_path) as phone:
        context = phone("one")
        page = context.pages[0]
        sign_in(page, site, link)
        round_page(page, site, northfield)
        type_counts(page, {1: 20})
        # Of this page only; what the worker asks for goes its own way.
        cut_off = []
        page.route(
            "**/count/", lambda route: (cut_off.append(route.request.method), route.abort("internetdisconnected"))
        )
        send(page)
        page.wait_for_url("**/end/")
        context.close()
    assert set(cut_off) <= {"POST"} and stored(northfield) == [(1, 20, "")]
