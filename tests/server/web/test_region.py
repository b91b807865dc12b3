"""A region's page: how far from its own normal first, one mark for what isn't told, and no other farm's number."""

import re
from datetime import timedelta

import pytest
from django.db import connections
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from farms import services
from server.web import region_figures
from tests.cast import acting, make_farm, make_user
from tests.regions import NUMBERS, ODD, USUAL, WEEK, contribution, report, season
from tests.server.web.pages import words

pytestmark = pytest.mark.django_db(transaction=True, databases="__all__")


def page(client, region):
    return client.get(reverse("region", args=[region.id]))


@pytest.fixture
def neighbour(region):
    """Gustav's farm in the same region, with a name and a number that stand nowhere else."""
    farm = make_farm("Quillhaven", region, make_user("Gustav"))
    contribution(farm, 3)
    return farm


def test_the_page_leads_with_how_far_from_the_own_normal_and_says_why(browser, anna, northfield, region):
    season(region)
    told = words(page(browser(anna), region))
    assert "Cards: Above their own normal: 1.3 times it." in told
    assert "In the middle third: 1.2 times. Above their own: about 7 in 10 owners." in told
    assert "At this time of the year 0.8 to 1.1 times is usual here, so this is more than in other years." in told
    assert "Mean 84 specks a card, of the middle third 80; action level 100." in told
    assert "Over the action level: about 3 in 10 owners. Rising: about 6 in 10 owners." in told
    assert "Do not hold one dairy's raw counts against another's." in told
    assert told.index("1.3 times it") < told.index("Mean 84")


def test_a_word_a_number_and_what_is_not_told_each_stand_in_the_table(browser, anna, northfield, region):
    season(region)
    told = words(page(browser(anna), region))
    plain = told.replace("\N{EN DASH}", "-")
    assert "May 25 1.3 usual 0.8 - 1.1 about 7 in 10 84 usual 60 - 110 80 about 3 in 10 about 6 in 10 10 to 14" in plain
    assert "May 4 not told" in told
    assert "Apr 27 not told not told low not told" in told


@pytest.mark.parametrize("blank", [{}, {"disclosure": "nothing", "contributors": ""}])
def test_one_mark_for_every_reason(browser, anna, northfield, region, blank):
    """A week withheld and a week never published look alike: to the letter."""
    report(region, WEEK - timedelta(weeks=2), **NUMBERS)
    if blank:
        report(region, WEEK - timedelta(weeks=1), **blank)
    report(region, **NUMBERS)
    told = page(browser(anna), region).content.decode()
    rows = re.findall(r"<tr class=\"missing\">.*?</tr>", told, re.DOTALL)
    assert [" ".join(re.sub(r"<[^>]+>", " ", row).split()) for row in rows] == ["May 18 not told"]
    assert "too few owners counted; one of them weighs too much" in words(page(browser(anna), region))


def test_what_is_published_later_stands_there_at_once_in_each_language(browser, anna, northfield, region, elsewhere):
    """What a process has drawn of some reports it draws once; others are other reports."""
    report(region, WEEK - timedelta(weeks=1), **{**NUMBERS, "mean": 61.0})
    reader = browser(anna)
    assert "May 18" in words(page(reader, region)) and "May 25" not in words(page(reader, region))
    report(region, **{**NUMBERS, "mean": 72.0})
    assert "72" in words(page(reader, region))
    assert "Middle third" in words(page(reader, region))
    reader.cookies["django_language"] = "es"
    assert "Tercio del medio" in words(page(reader, region)) and "Middle third" not in words(page(reader, region))
    reader.cookies["django_language"] = "en"
    report(elsewhere, **{**NUMBERS, "growth": -0.2, "growth_low": -0.3, "growth_high": -0.1})
    assert f"{elsewhere.name} Cards falling" in words(page(reader, region))


def test_a_page_seen_before_draws_nothing_anew(browser, anna, northfield, region, monkeypatch):
    season(region)
    reader = browser(anna)
    first = words(page(reader, region))

    def drawn_again(*_anything):
        raise AssertionError("Drawn again, though no report was added.")

    for each in ("normal_chart", "mean_chart", "rising_lines"):
        monkeypatch.setattr(region_figures, each, drawn_again)
    assert words(page(reader, region)) == first


def test_growth_is_told_with_its_range_or_cant_be_told(browser, anna, northfield, region, elsewhere):
    season(region)
    report(region, part="calf_barn", **NUMBERS)
    report(region, part="rest", **{**NUMBERS, "growth": 0.05, "growth_low": -0.05, "growth_high": 0.2})
    report(elsewhere, **{**NUMBERS, "growth": -0.2, "growth_low": -0.3, "growth_high": -0.1})
    told = words(page(browser(anna), region))
    assert "Lower Valley Cards rising, about a fifth more each week (10 to 30 % more)" in told
    assert "Cards, calf barn rising, about a fifth more each week" in told
    assert "Cards, all other housing can't tell (from 5 % less to 20 % more each week)" in told
    assert "Upper Valley Cards falling, about a fifth less each week (10 to 30 % less)" in told


class TestOnesOwnPlace:
    def test_an_owner_and_an_adviser_see_their_farms_third(self, browser, anna, dana, northfield, neighbour, region):
        season(region)
        contribution(northfield, 2, mean=61.0)
        for user in (anna, dana):
            told = words(page(browser(user), region))
            assert "Farm Spot cards Northfield not counted middle third" in told, user.name
            assert "Quillhaven" not in told

    def test_not_where_the_weeks_report_tells_no_numbers(self, browser, anna, northfield, region):
        report(region, disclosure="word", word="high")
        contribution(northfield, 2)
        assert "Farm Spot cards Northfield not counted not told" in words(page(browser(anna), region))

    def test_the_coordinator_and_a_guest_see_no_farm(self, browser, erik, group, northfield, neighbour, region):
        season(region)
        now = timezone.now()  # a guest's stay is by the database's clock
        with acting(erik):
            guest = services.invite_guest(
                group=group, email="greta@example.org", name="Greta", ends_at=now + timedelta(days=9), now=now
            )
        for user in (erik, guest.user):
            told = words(page(browser(user), region))
            assert "1.3 times it" in told
            assert "Your farms" not in told and "Northfield" not in told


def test_no_name_and_no_value_of_another_farm_is_on_it(browser, anna, northfield, neighbour, region):
    season(region)
    contribution(northfield, 1, mean=61.0)
    told = page(browser(anna), region).content.decode()
    for each in (neighbour.name, str(neighbour.id), str(neighbour.holding_id), f"{ODD:.0f}", "7,919"):
        assert each not in told


def test_reports_are_read_through_the_region_role_and_of_contributions_ones_own_third_alone(
    browser, anna, northfield, neighbour, region, elsewhere
):
    season(region)
    client = browser(anna)
    with CaptureQueriesContext(connections["default"]) as plain, CaptureQueriesContext(connections["region"]) as asked:
        assert page(client, region).status_code == 200
    assert len([each for each in asked if "monitoring_regionreport" in each["sql"]]) == 5
    assert not [each for each in plain if "monitoring_regionreport" in each["sql"]]
    (own,) = [each["sql"] for each in plain if "monitoring_contribution" in each["sql"]]
    assert northfield.id.hex in own.replace("-", "") and neighbour.id.hex not in own.replace("-", "")
    columns = own[: own.index(" FROM ")]
    assert not re.search(r"mean|ratio|growth|rising|holding", columns)


def test_as_many_queries_for_many_weeks_and_farms_as_for_few(browser, anna, northfield, region, group):
    def asked():
        client = browser(anna)
        with (
            CaptureQueriesContext(connections["default"]) as plain,
            CaptureQueriesContext(connections["region"]) as reports,
        ):
            page(client, region)
        return len(plain) + len(reports)

    report(region, **NUMBERS)
    few = asked()
    for method in ("trap", "leg"):
        season(region, 20, method)
    for number in range(5):
        contribution(make_farm(f"Field {number}", region, anna), 1)
    assert asked() == few


def test_the_picture_has_the_band_of_the_usual_a_gap_and_no_dot_a_farm(browser, anna, northfield, region):
    season(region)
    told = page(browser(anna), region).content.decode()
    picture = re.search(r"<svg[^>]*season wide.*?</svg>", told, re.DOTALL)[0]
    assert "own normal" in picture and 'class="band"' in picture
    assert "May 4: not told" in picture
    assert len(re.findall(r"<circle", picture)) <= 6
    assert len(re.findall(r"<polyline", picture)) == 2


def test_a_first_year_has_no_usual_and_a_farm_without_a_normal_no_ratio(browser, anna, northfield, region):
    told = dict.fromkeys(("normal", "normal_middle", "normal_share"))
    report(region, **{**NUMBERS, **told, "share_over": None, "growth": None, "growth_low": None, "growth_high": None})
    shown = words(page(browser(anna), region))
    assert "How far from their own normal: not told. Mean 84" in shown
    assert "Over the action level: not told." in shown
    assert "is usual here" not in shown and USUAL


def test_it_stands_in_spanish_too(browser, ben, northfield, region):
    season(region)
    client = browser(ben)
    client.post(reverse("set_language"), {"language": "es"})
    told = words(page(client, region))
    assert "su propio nivel normal" in told and "own normal" not in told
