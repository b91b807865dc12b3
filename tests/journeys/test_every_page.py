"""Every page at the widths of a phone, a tablet and a desk, and at 200 and 400 %: nothing runs over the edge, nothing
is refused by the policy, every field has a name, what is pressed is large enough for a thumb, and axe-core finds
nothing, light and dark. A page is loaded once for all of it.
"""

from datetime import timedelta
from typing import Any

import pytest
from django.urls import reverse
from django.utils import timezone

from farms.services import make_phone_code, make_sign_in_link
from monitoring.models import Station
from tests.cast import NOW, acting, as_factory
from tests.journeys.axe import violations
from tests.journeys.chromium import OFFICE, PHONE, chromium, signed_in, watched
from tests.journeys.reached_pages import NOT_OPENED, PAGES, address, listed, page_routes, scene

# The thumb's measure; a link within a sentence is as tall as its line (WCAG 2.2, success criterion 2.5.8, allows it).
LARGE_ENOUGH = 44
# The paper sheet is typed at a desk and may be moved sideways on a phone; a folded table may too.
LOOK = f"""() => {{
  const all = (what) => [...document.querySelectorAll(what)];
  const page = document.documentElement;
  return {{
    nameless: all('input:not([type=hidden]), select, textarea')
      .filter((field) => !(field.labels && field.labels.length) && !field.getAttribute('aria-label'))
      .map((field) => field.name),
    small: all('button, a.button, a.quiet-button, summary, label.choice')
      .filter((thing) => thing.offsetParent && thing.getBoundingClientRect().height < {LARGE_ENOUGH})
      .map((thing) => thing.textContent.trim()),
    edge: Math.max(page.scrollWidth - page.clientWidth, 0),
    cut: all('.table-scroll:not(:has(.sheet))')
      .filter((table) => !table.closest('details:not([open])') && table.scrollWidth > table.clientWidth)
      .map((table) => table.getAttribute('aria-labelledby')),
    headings: all('h1').length === 1 ? 0 : `${{all('h1').length}} of h1`,
  }};
}}"""
EDGE = "() => Math.max(document.documentElement.scrollWidth - document.documentElement.clientWidth, 0)"
# A desk of 1,280 pixels at 400 %, as WCAG 2.2, success criterion 1.4.10, asks for; at 200 % (1.4.4); and a tablet.
WIDTHS = (320, 640, 768)


@pytest.fixture
def ids(settings, standing_clock, tmp_path, monkeypatch, group, northfield, cards, traps, anna, dana, erik, fay):
    # Playwright keeps an event loop in this thread; the live server has a connection of its own.
    monkeypatch.setenv("DJANGO_ALLOW_ASYNC_UNSAFE", "true")
    settings.DEMO_MAIL_DIR = str(tmp_path)
    settings.TEXT_MESSAGE_URL = "https://texts.example.org/"
    (tmp_path / "20260601.log").write_text(f"Subject: {'long ' * 30}\nTo: somebody.with.a.name@example.org\n\nText")
    people = {"owner": anna, "adviser": dana, "coordinator": erik}
    made = scene(group, northfield, cards, people)
    with as_factory():
        Station.objects.filter(id=traps[1].id).update(until=NOW.date())
    with acting(anna):
        made["code"] = make_phone_code(farm=northfield, by=anna, now=timezone.now())[1].replace(" ", "")
    made["sign_in_link"] = make_sign_in_link(user=fay, now=timezone.now(), valid_for=timedelta(hours=1))
    return made | people


def test_every_page_that_answers_is_opened_here_or_has_a_reason():
    routes = {name for name, _parts in page_routes()}
    opened, not_opened = listed(*PAGES.values()), listed(*NOT_OPENED.values())
    assert routes - opened - not_opened == set(), "Open them in tests/journeys/reached_pages.py, or say why not."
    assert (opened | not_opened) - routes == set() and opened & not_opened == set()


def faults(page: Any, where: str, complaints: list[str], expected: int = 200) -> dict[str, Any]:
    """What is wrong with a page; empty where nothing is."""
    complaints.clear()
    answered = page.goto(where)
    # A browser says of a page that isn't there that it isn't.
    said = [each for each in complaints if expected == 200 or str(expected) not in each]
    found = {"status": answered.status if answered.status != expected else None, "complaints": said}
    found |= page.evaluate(LOOK) | {"axe": violations(page)}
    usual = page.viewport_size
    for width in WIDTHS:
        page.set_viewport_size({"width": width, "height": 640})
        found[f"over the edge of {width} px"] = page.evaluate(EDGE)
    page.set_viewport_size(usual)
    return {name: value for name, value in found.items() if value}


def come_in(browser: Any, site: str, who: str, ids: dict[str, Any], size: Any) -> tuple[Any, list[str]]:
    """A page as each of them has it: signed in, with the farm's code, or waiting for a code by mail."""
    if who in ids:
        return signed_in(browser, site, ids[who], size)
    page = browser.new_page(**size)
    complaints = watched(page)
    if who == "phone":
        page.goto(f"{site}{reverse('phone')}?code={ids['code']}")
    else:
        page.goto(site + reverse("account_request_login_code"))
        page.get_by_role("textbox").first.fill("nobody@example.org")
    page.get_by_role("main").get_by_role("button").first.click()
    page.wait_for_load_state()
    return page, complaints


def refusals(who: str, ids: dict[str, Any], southmead: Any, traps: Any) -> list[tuple[str, int]]:
    """Pages that say no."""
    return {
        "owner": [(reverse("group", args=[ids["group_id"]]) + "nowhere/", 404), (reverse("monday"), 404)],
        "adviser": [(reverse("consents", args=[ids["farm_id"]]), 403)],
        "phone": [
            (reverse("tag", args=[southmead.id, ids["station_id"]]), 404),
            (reverse("tag", args=[ids["farm_id"], traps[1].id]), 200),
        ],
        "nobody": [(reverse("mail_choice", args=["nothing"]), 404), (reverse("invitation", args=["nothing"]), 410)],
    }.get(who, [])


@pytest.mark.browser
@pytest.mark.django_db(transaction=True, databases="__all__")
@pytest.mark.parametrize(("size", "language"), [(PHONE, "es"), (OFFICE, "en")], ids=["375 px", "1440 px"])
def test_every_page_fits_is_named_and_keeps_to_the_policy(live_server, southmead, traps, ids, size, language):
    wrong = {}
    with chromium() as browser:
        for who, entries in PAGES.items():
            page, complaints = come_in(browser, live_server.url, who, ids, size)
            # In Spanish on the phone, where the words are longest and the room is least.
            page.context.add_cookies([{"name": "django_language", "value": language, "url": live_server.url}])
            asked = [(address(entry, ids), 200) for entry in entries.split()]
            for where, expected in asked + refusals(who, ids, southmead, traps):
                if found := faults(page, live_server.url + where, complaints, expected):
                    wrong[f"{who}: {where}"] = found
        # The checker itself would find something.
        page.evaluate("() => document.body.append(document.createElement('button'))")
        assert violations(page)["light"][0][0] == "button-name"
    assert wrong == {}
