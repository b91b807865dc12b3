"""Closing a farm or a region to visits: a date and one button, and who sees it."""

from datetime import timedelta

import pytest
from django.urls import reverse

from farms.models import FarmClosure, RegionClosure
from farms.services import give_consent
from tests.alerts.scene import check, monday
from tests.cast import NOW, acting, as_factory
from tests.monitoring.regional.scene import BEFORE, WEEK, consenting_farms, summary
from tests.server.feeds.reading import feed_of
from tests.server.outside import seen_from_outside
from tests.server.web.pages import at, words

pytestmark = pytest.mark.django_db
COMMITS = pytest.mark.django_db(transaction=True, databases="__all__")
TODAY = NOW.date()


def test_the_owner_closes_the_farm_and_everybody_of_it_reads_so(browser, anna, ben, dana, northfield):
    page = at("closure", northfield)
    assert "Visits are open." in words(browser(anna).get(page))
    assert browser(anna).post(page, {"from_on": "2026-06-03"}).status_code == 302
    told = words(browser(anna).get(page))
    assert "Closed to visits from June 3 on." in told and "Open to visits again" in told
    assert "Close to visits" in told, "it may still be closed from today on"
    for user in (anna, ben, dana):
        shown = words(browser(user).get(at("farm", northfield)))
        assert "Closed to visits from June 3 on. Call, don't visit." in shown


def test_what_was_open_already_says_that_it_waits(browser, anna, northfield, group, traps):
    check(group, monday(6))
    page = at("farm", northfield)
    told = "Waits while the farm is closed to visits."
    before = words(browser(anna).get(page))
    assert "how they hang" in before.split("Open matters")[1] and told not in before
    browser(anna).post(at("closure", northfield), {"from_on": "2026-06-01"})
    assert told in words(browser(anna).get(page))


def test_the_adviser_lifts_it(browser, anna, dana, northfield):
    browser(anna).post(at("closure", northfield), {"from_on": "2026-06-01"})
    assert "closed: call, don't visit" in words(browser(anna).get(at("settings", northfield)))
    assert browser(dana).post(at("closure_lift", northfield), {"from_on": "2026-06-05"}).status_code == 302
    told = words(browser(dana).get(at("farm", northfield)))
    assert "Closed to visits since June 1. Open again from June 5." in told


def test_a_closure_with_an_end_is_prolonged_on_its_page(browser, anna, northfield):
    page = at("closure", northfield)
    browser(anna).post(page, {"from_on": "2026-06-01"})
    assert "Close to visits" not in words(browser(anna).get(page))
    browser(anna).post(at("closure_lift", northfield), {"from_on": "2026-06-10"})
    shown = browser(anna).get(page)
    assert "Open to visits again" in words(shown) and "Close to visits" in words(shown)
    assert "it is closed until it is lifted" in words(shown)
    assert shown.content.count(b'id="id_from_on"') == shown.content.count(b'id="id_lift_from_on"') == 1
    assert browser(anna).post(page, {"from_on": "2026-06-01"}).status_code == 302
    told = words(browser(anna).get(page))
    assert "Closed to visits since June 1." in told and "Open again" not in told
    assert "Close to visits" not in told and "Open to visits again" in told


def test_what_cannot_be_is_told_beside_the_day(browser, anna, northfield):
    for name, day, sentence in (
        ("closure", "2026-05-31", "Choose a day from 2026-06-01 on"),
        ("closure_lift", "2026-06-02", "it is open to visits already"),
        ("closure", "", "Choose a day."),
    ):
        answer = browser(anna).post(at(name, northfield), {"from_on": day})
        assert answer.status_code == 422 and sentence in words(answer)
    with as_factory():
        assert not FarmClosure.objects.exists()


def test_who_only_counts_closes_nothing_and_a_stranger_finds_nothing(browser, ben, carla, erik, northfield):
    for name in ("closure", "closure_lift"):
        assert browser(ben).post(at(name, northfield), {"from_on": "2026-06-03"}).status_code == 403
        for user in (carla, erik):
            assert browser(user).post(at(name, northfield), {"from_on": "2026-06-03"}).status_code == 404


@COMMITS
def test_a_coordinator_closes_a_region_and_the_groups_people_read_so(
    browser, anna, dana, erik, northfield, region, southmead, carla
):
    page = reverse("region_closure", args=[region.id])
    assert browser(erik).post(page, {"from_on": "2026-06-01"}).status_code == 302
    for user in (anna, dana, erik):
        assert "The whole region is closed to visits since June 1." in words(
            browser(user).get(reverse("region", args=[region.id]))
        )
    assert "The whole region is closed to visits since June 1." in words(browser(anna).get(at("farm", northfield)))
    assert "closed to visits" not in words(browser(carla).get(at("farm", southmead)))
    assert browser(erik).post(reverse("region_closure_lift", args=[region.id]), {"from_on": "2026-06-01"}).url == page
    assert "closed to visits since" not in words(browser(anna).get(at("farm", northfield)))
    with as_factory():
        assert RegionClosure.objects.count() == 2


@COMMITS
def test_nothing_outside_of_the_farm_changes_by_one_byte(browser, anna, erik, group, region, northfield, cards):
    """Coordinator's pages and lists, region reports and who takes part in them, feeds, the farm's files."""
    consenting_farms(region, [80.0, 90, 95, 100, 105, 110, 115, 120, 125, 130, 135])
    with acting(anna):
        give_consent(farm=northfield, kind="regional", by=anna, now=BEFORE)
    summary(northfield, WEEK, 140.0)
    feeds = [feed_of(anna, "calendar"), feed_of(anna, "matters")]
    before = seen_from_outside(erik, northfield, anna, feeds)
    assert b"'disclosure': 'numbers'" in before["published"]
    assert browser(anna).post(at("closure", northfield), {"from_on": str(TODAY)}).status_code == 302
    assert seen_from_outside(erik, northfield, anna, feeds) == before
    later = TODAY + timedelta(days=3)
    assert browser(anna).post(at("closure_lift", northfield), {"from_on": str(later)}).status_code == 302
    assert seen_from_outside(erik, northfield, anna, feeds) == before
