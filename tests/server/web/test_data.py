"""The page with what a farm may take along: its links lead to files, and the days chosen narrow them."""

import html
import re
from typing import Any

import pytest

from server.exports.tables import TABLES
from tests.alerts.scene import count_week, monday
from tests.server.api.exporting import content, csv_rows
from tests.server.web.pages import at, words

pytestmark = pytest.mark.django_db


@pytest.fixture
def counted(northfield, cards):
    for number in (5, 6):
        count_week(cards, monday(number), [40, 50, "lost", 60, 70])


def links(response: Any, word: str = "/exports/") -> list[str]:
    found = re.findall(r'href="([^"]*)"', response.content.decode())
    return [html.unescape(link) for link in found if word in link]


def test_who_reads_the_farm_finds_every_file_behind_its_link(browser, anna, ben, dana, northfield, counted):
    for user in (anna, ben, dana):
        client = browser(user)
        page = client.get(at("data", northfield))
        assert "Data to take along" in words(page)
        # The evidence is for owners and advisers, everything in one file for the owner alone.
        assert len(links(page)) == len(TABLES) * 5 + {"Ben": 3, "Dana": 4, "Anna": 5}[user.name]
    for link in links(page):
        assert content(client.get(link)) or link.endswith("ndjson"), link


def test_the_days_chosen_narrow_what_has_days(browser, ben, northfield, counted):
    client = browser(ben)
    page = client.get(at("data", northfield), {"since": "2026-05-19", "until": "2026-05-25"})
    [table] = links(page, "readings.csv")
    assert table.endswith("?since=2026-05-19&until=2026-05-25")
    assert len(csv_rows(content(client.get(table)))) == 5
    assert [link for link in links(page, "stations.csv") if "?" in link] == []
    assert links(page, "darwin-core.zip")[0].endswith("until=2026-05-25")


def test_a_day_that_is_none_is_told_and_the_links_stay(browser, ben, northfield):
    page = browser(ben).get(at("data", northfield), {"since": "soon"})
    assert page.status_code == 422
    assert "Type the day as year-month-day" in words(page)
    assert links(page, "readings.csv")[0].endswith("readings.csv")


def test_the_page_is_found_from_the_rounds_and_from_the_settings(browser, anna, northfield, counted):
    for name in ("rounds", "settings"):
        assert at("data", northfield) in browser(anna).get(at(name, northfield)).content.decode()
