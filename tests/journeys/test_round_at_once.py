"""The round's page of today comes from the phone at once, and what is new in the fresh one is shown when it comes."""

from datetime import timedelta
from typing import Any

import pytest
from django.urls import reverse

from farms.ledger import Actor
from monitoring.models import Reading
from monitoring.services import ReentryTyped, record_reentry
from tests.cast import NOW, acting, as_factory
from tests.journeys.barn_phone import KEPT, READY, link_for, phones, round_page, send, sign_in, type_counts, until

pytestmark = [
    pytest.mark.browser,
    pytest.mark.django_db(transaction=True, databases="__all__"),
    pytest.mark.usefixtures("in_the_barn"),
]
ASKED = "() => 'asked' in document.documentElement.dataset"
FRESH = "() => !('keptAt' in document.documentElement.dataset)"
SAME_DOCUMENT = "() => window.seenBefore === true"
# The language in which the round's page lies on the phone.
KEPT_IN = """async (path) => {
    for (const name of await caches.keys()) {
        const found = await (await caches.open(name)).match(path);
        if (found) return /<html[^>]* lang="(\\w+)"/.exec(await found.text())[1];
    }
    return null;
}"""
# A figure that stands in the second card's field before any script of the page runs.
TYPED_EARLY = """document.addEventListener("readystatechange", () => {
    const boxes = document.querySelectorAll("[name$=-count]");
    if (document.readyState === "interactive" && location.hash === "#early" && boxes[1]) boxes[1].value = "30";
})"""


# What the page that is shown asks for is held until it is let go. By Playwright's routes every opening would count as
# loading again, for which nothing is shown at once.
SLOW_LINE = """const through = window.fetch;
window.fetch = async (address, how) => {
    if (how?.redirect !== "manual" || how.method) return through(address, how);
    const status = await new Promise((letGo) => { window.held = letGo; });
    return status ? new Response("", { status }) : through(address, how);
};"""


def keep_out(farm: Any, place: Any, who: Any) -> None:
    typed = ReentryTyped(NOW, NOW + timedelta(hours=12), "do not enter until dry", place)
    with acting(who):
        record_reentry(farm=farm, typed=typed, actor=Actor("farm_staff", who.id), now=NOW)


def let_go(page: Any, status: int | None = None) -> None:
    """The line carries what was held; with a status, that is the server's answer."""
    until(page, "() => Boolean(window.held)")
    page.evaluate("(status) => held(status)", status)


def opens_at_once(page: Any, address: str) -> None:
    """The page is ready while nobody has answered, and doesn't speak of signal."""
    page.goto("about:blank")
    page.goto(address)
    until(page, READY)
    assert page.evaluate(ASKED)
    assert not page.locator("#page-age").is_visible()
    page.evaluate("() => { window.seenBefore = true; }")


def test_what_is_new_is_shown_when_it_comes_and_no_figure_is_lost(live_server, anna, northfield, calf_barn, tmp_path):
    site, link = live_server.url, link_for(anna)
    address = site + reverse("count", args=[northfield.id])
    with phones(tmp_path) as phone:
        context = phone("one")
        context.add_init_script(SLOW_LINE + TYPED_EARLY)
        page = context.pages[0]
        sign_in(page, site, link)
        round_page(page, site, northfield)
        # Nothing is new: nothing happens.
        opens_at_once(page, address)
        let_go(page)
        until(page, FRESH)
        assert page.evaluate(SAME_DOCUMENT) and not page.locator("[data-newer]").is_visible()
        # A label's time, typed meanwhile: told beside what was typed, and the newer page waits for a word.
        opens_at_once(page, f"{address}#early")
        keep_out(northfield, calf_barn, anna)
        let_go(page)
        page.get_by_role("alert").get_by_text("Kept out: Calf barn").wait_for()
        page.get_by_text("There is a newer page of this round").wait_for()
        assert page.evaluate(SAME_DOCUMENT)
        type_counts(page, {1: 20})
        page.get_by_role("button", name="Open the newer page").click()
        until(page, f"() => !({SAME_DOCUMENT})() && ({READY})()")
        typed = page.evaluate("() => [...document.querySelectorAll('[name$=-count]')].map((box) => box.value)")
        chosen = page.locator("[name$=-reason]:checked[value=kept_out]").count()
        assert typed[:3] == ["20", "30", ""] and chosen == 3 and page.evaluate(FRESH)
        # Another, for the whole farm, while nothing was typed on the page that is shown: it loads itself again, once.
        opens_at_once(page, address)
        keep_out(northfield, None, anna)
        let_go(page)
        until(page, f"() => !({SAME_DOCUMENT})() && ({READY})()")
        assert page.evaluate(FRESH) and page.locator(".kept-out").count() == 2
        assert page.locator("[name$=-count]").first.input_value() == "20"
        # However long a step is, nobody is led past what keeps people out.
        page.wait_for_timeout(500)
        assert page.evaluate("window.scrollY") == 0
        context.close()


def answers_are_told_as_they_are(page: Any, address: str, path: str) -> None:
    """What the server says in place of the page, or that nobody answers."""
    # No more right to it: the server's own answer is loaded. An outage, and no signal: told, and counting goes on.
    opens_at_once(page, address)
    let_go(page, 404)
    until(page, f"() => !({SAME_DOCUMENT})() && ({READY})()")
    assert page.evaluate(FRESH)
    until(page, f"async (path) => (await ({KEPT})()).includes(path)", path)
    opens_at_once(page, address)
    let_go(page, 503)
    page.get_by_text("The service does not answer well just now: this page is from").wait_for()
    opens_at_once(page, address)
    let_go(page)
    until(page, FRESH)
    page.context.set_offline(True)
    page.goto(address)
    let_go(page)
    page.get_by_text("No signal: this page is from").wait_for()
    page.context.set_offline(False)


def another_language_is_never_the_one_before(page: Any, address: str, path: str) -> None:
    """At once in the language chosen last."""
    page.goto(address)
    until(page, READY)
    page.get_by_role("button", name="Español").click()
    until(page, f"() => document.documentElement.lang === 'es' && ({FRESH})() && ({READY})()")
    until(page, f"async (path) => (await ({KEPT_IN})(path)) === 'es'", path)
    opens_at_once(page, address)
    assert page.evaluate("document.documentElement.lang") == "es"
    let_go(page)
    until(page, FRESH)


def who_is_signed_out_counts_on(page: Any, address: str, path: str) -> None:
    """With a way to sign in again."""
    session = next(each for each in page.context.cookies() if each["name"] == "sessionid")
    page.context.clear_cookies(name="sessionid")
    opens_at_once(page, address)
    let_go(page)
    page.locator("#page-age a").wait_for()
    page.context.add_cookies([session])
    page.get_by_role("button", name="English").click()
    until(page, f"() => document.documentElement.lang === 'en' && ({FRESH})() && ({READY})()")


def test_a_page_from_before_is_not_shown_at_once_and_no_answer_is_told_as_it_is(
    live_server, anna, northfield, tmp_path
):
    site, link = live_server.url, link_for(anna)
    path = reverse("count", args=[northfield.id])
    with phones(tmp_path) as phone:
        context = phone("one")
        context.add_init_script(SLOW_LINE)
        page = context.pages[0]
        sign_in(page, site, link)
        round_page(page, site, northfield)
        for happens in (
            answers_are_told_as_they_are,
            another_language_is_never_the_one_before,
            who_is_signed_out_counts_on,
        ):
            happens(page, site + path, path)
        # A round is stored: the list from before it doesn't come again.
        type_counts(page, {1: 20})
        send(page)
        page.wait_for_url("**/end/")
        page.goto(site + path)
        until(page, READY)
        assert page.evaluate(FRESH)
        context.close()
    with as_factory():
        assert [each.count for each in Reading.objects.filter(farm=northfield)] == [20]
