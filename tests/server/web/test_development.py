"""From egg to fly on a farm's page: in farm words, as ranges, and only where temperatures are known."""

import re
from datetime import timedelta

import pytest

from farms.models import Membership
from monitoring.rules.temperatures import table_of_days
from monitoring.services import record_temperatures
from tests.alerts.scene import check, count_week, monday
from tests.cast import NOW, as_factory
from tests.server.web.pages import at, words

pytestmark = pytest.mark.django_db
TODAY = NOW.date()


@pytest.fixture
def counted(group, northfield, cards):
    count_week(cards, monday(6), [20] * 5)
    check(group, monday(6))
    return northfield


def weather(region, lowest, highest, n_days=21):
    days = [(TODAY - timedelta(days=back), lowest, highest) for back in range(n_days)]
    record_temperatures(region=region, table=table_of_days(days), now=NOW)


def section(page):
    found = re.search(r'<section aria-labelledby="development">.*?</section>', page.content.decode(), re.DOTALL)
    page_part = type("Part", (), {"content": (found[0] if found else "").encode()})
    return words(page_part)


def test_in_a_warm_week_it_tells_dates_days_and_what_a_clean_out_would_have_to_keep_up_with(browser, anna, counted):
    weather(counted.region, 18.0, 30.0)
    told = section(browser(anna).get(at("farm", counted)))
    assert "House flies: Eggs laid on June 1 can be flies between June 8 and June 19." in told
    assert (
        "At this week's temperatures maggots leave the bedding after 4 to 11 days and are flies after 7 to 18 days."
        " A clean-out after that misses them."
    ) in told
    assert (
        "clean-outs would have to come every 4 days, this week and next. Seven days can be too long in this heat."
        in told
    )
    assert "Stable flies: Eggs laid on June 1 can be flies between" in told
    assert told.count("Seven days can be too long in this heat.") == 1


def test_how_it_was_got_says_what_is_published_and_what_is_our_own(browser, anna, counted):
    weather(counted.region, 18.0, 30.0)
    told = section(browser(anna).get(at("farm", counted)))
    assert "Lysyk and Axtell 1987" in told and "Gilles, David and Duvallet 2005" in told
    assert "The line between the two, 52.0 °F and 378 degree-days (°F) to the fly, is our own." in told
    assert "Known of the last seven days: 0 measured on the farm, 7 in its region." in told
    assert "the last two weeks, as no earlier year is known" in told


def test_the_caution_before_a_clean_out_stands_with_it(browser, anna, counted):
    weather(counted.region, 18.0, 30.0)
    told = section(browser(anna).get(at("farm", counted)))
    assert "gas in manure pits kills, so nobody goes in and nobody works there alone" in told
    assert "Local rules" in told


def test_in_a_cool_week_seven_days_are_not_too_long(browser, anna, counted):
    weather(counted.region, 10.0, 22.0)
    assert "too long" not in section(browser(anna).get(at("farm", counted)))


def test_a_mild_week_is_not_called_heat(browser, anna, counted):
    weather(counted.region, 16.0, 26.0)
    told = section(browser(anna).get(at("farm", counted)))
    assert "clean-outs would have to come every 6 days" in told and "heat" not in told


def test_next_week_may_be_usual_and_this_one_hot(browser, anna, counted):
    weather(counted.region, 12.0, 24.0)
    weather(counted.region, 22.0, 36.0, n_days=7)
    told = section(browser(anna).get(at("farm", counted)))
    assert re.search(r"every 3 days; next week, at usual temperatures, every [45] days\.", told)


def test_in_the_cold_nothing_is_made_up(browser, anna, counted):
    weather(counted.region, -2.0, 8.0, n_days=400)
    told = section(browser(anna).get(at("farm", counted)))
    assert "Eggs laid on June 1 are no flies within four months: it is too cold." in told
    assert "A clean-out" not in told.replace("Before a clean-out", "")


def test_in_deadly_heat_it_says_so(browser, anna, counted):
    weather(counted.region, 36.0, 44.0)
    told = section(browser(anna).get(at("farm", counted)))
    assert "Of eggs laid on June 1 no flies may come: above 100 °F the young die." in told


def test_without_temperatures_one_sentence_says_so_and_nothing_else_is_shown(browser, anna, counted):
    page = browser(anna).get(at("farm", counted))
    assert section(page) == ""
    told = words(page)
    assert told.count("No temperatures are known here, so nothing can be told of when eggs become flies.") == 1
    assert "maggot" not in told and "nan" not in told.lower().split()


def test_temperatures_of_long_ago_are_none(browser, anna, counted):
    days = [(TODAY - timedelta(days=back), 18.0, 30.0) for back in range(30, 60)]
    record_temperatures(region=counted.region, table=table_of_days(days), now=NOW)
    assert section(browser(anna).get(at("farm", counted))) == ""


def test_no_word_of_ours_is_on_it(browser, anna, counted):
    weather(counted.region, 18.0, 30.0)
    told = section(browser(anna).get(at("farm", counted)))
    assert re.findall(r"larva|pupa|exposure|breeding site|\bsafe\b|cohort", told) == []


def test_who_only_reads_is_not_sent_to_the_temperatures(browser, ben, counted):
    """A recorder may type them; a farm's page for others has no link that would be refused."""
    weather(counted.region, 18.0, 30.0)
    assert at("temperatures", counted) in browser(ben).get(at("farm", counted)).content.decode()
    with as_factory():
        assert Membership.objects.filter(farm=counted, user=ben, role="recorder").exists()
