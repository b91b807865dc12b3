"""A recorder counts legs without signal: the phone says when it is enough, as the service says it later."""

from datetime import timedelta

import numpy as np
import pytest
from django.urls import reverse
from django.utils import timezone

from alerts.services import NewLevel, set_farm_level
from alerts.wording import amount
from farms.services import make_sign_in_link
from monitoring.analysis.leg_verdict import leg_verdicts
from server.web.leg_verdict import WORDS
from tests.cast import NOW, acting
from tests.journeys.chromium import PHONE, chromium, watched

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True, databases="__all__")]
ONE_BY_ONE = [3, 9, 14, 2, 8, 5, 11, 0, 7, 9, 20, 0, 10, 30, 12]
LEVELS = (10.0, 2.3)


@pytest.fixture(autouse=True)
def scene(standing_clock, monkeypatch, northfield, leg_station):
    """Monday, 1 June, at the dry lot."""
    monkeypatch.setenv("DJANGO_ALLOW_ASYNC_UNSAFE", "true")


def opened(browser, live_server, user, farm, **context):
    """The counting form on this user's phone, and what the page complains of."""
    key = make_sign_in_link(user=user, now=timezone.now(), valid_for=timedelta(hours=1))
    page = browser.new_context(**PHONE, **context).new_page()
    complaints = watched(page)
    page.goto(live_server.url + reverse("sign_in_link", args=[key]))
    page.get_by_role("main").get_by_role("button").click()
    page.goto(live_server.url + reverse("count", args=[farm.id]))
    return page, complaints


def said(page):
    """The running verdict: its word, and the plain comparison beside it."""
    return tuple(page.locator(".verdict [role=status] p").all_text_contents())


def expected(flies, level=10.0):
    """What monitoring.analysis says of the same animals, in the page's words."""
    found = leg_verdicts(np.array([flies], float), np.array([level]))
    word = str(WORDS[found.verdict[0]]).replace("{animals}", str(len(flies)))
    mean = amount(float(found.mean[0]), beside=level)
    return word, f"These animals today: mean so far {mean} an animal, level {amount(level)}."


def test_the_phone_says_animal_by_animal_without_signal_what_the_service_says_later(live_server, anna, northfield):
    with chromium() as browser:
        page, complaints = opened(browser, live_server, anna, northfield)
        page.context.set_offline(True)
        heard = []
        for number, flies in enumerate(ONE_BY_ONE, start=1):
            page.get_by_label(f"Flies on animal {number}", exact=True).fill(str(flies))
            heard.append(said(page))
            if number < len(ONE_BY_ONE):
                page.get_by_role("button", name="Next animal").click()
        page.get_by_role("button", name="Animal 3: 14. Change").click()
        page.get_by_label("Flies on animal 3", exact=True).fill("1x")
        wrong = said(page)
        page.get_by_label("Flies on animal 3", exact=True).fill(str(ONE_BY_ONE[2]))
        page.context.set_offline(False)
        page.get_by_role("button", name="Finish", exact=True).click()
        page.get_by_role("button", name="Send the round").click()
        page.wait_for_url("**/end/")
        told = page.inner_text("main")
    assert heard[:9] == [("", "")] * 9
    assert heard[9:] == [expected(ONE_BY_ONE[:number]) for number in range(10, 16)]
    assert heard[9][0] == "Count on" and heard[-1][0] == "Not clear after 15 animals"
    # What can't be read is no number of flies, and says nothing.
    assert wrong == ("", "")
    assert "Not clear after 15 animals" in told and "level 10." in told
    # Without signal whatever asks the service is refused by the browser, which says so.
    assert [each for each in complaints if "ERR_INTERNET_DISCONNECTED" not in each] == []


def test_phone_and_service_say_the_same_of_any_animals(live_server, anna, northfield):
    rng = np.random.default_rng(11)
    differ = []
    with chromium() as browser:
        for level in LEVELS:
            with acting(anna):
                new = NewLevel("leg", level, "tried", NOW.date())
                set_farm_level(farm=northfield, level=new, by=anna, now=NOW)
            page, complaints = opened(browser, live_server, anna, northfield)
            for animals in rng.integers(10, 20, 60):
                mean = level * rng.choice([0.5, 0.7, 0.8, 1.0, 1.3])
                flies = rng.poisson(rng.gamma(1.4, mean / 1.4, animals)).tolist()
                page.get_by_label("Flies on animal 1", exact=True).fill(" ".join(map(str, flies)))
                if said(page) != expected(flies, level):
                    differ.append((level, flies, said(page), expected(flies, level)))
    assert differ == [] and complaints == []


def test_without_scripts_the_table_is_there_to_read(live_server, anna, northfield):
    with chromium() as browser:
        page, _ = opened(browser, live_server, anna, northfield, java_script_enabled=False)
        page.locator(".verdict summary").click()
        table = page.locator(".verdict table")
        rows = table.locator("tbody tr").all_inner_texts()
        seen = table.is_visible()
    assert seen and [row.split() for row in (rows[0], rows[-1])] == [["10", "66", "122"], ["15", "113", "169"]]
