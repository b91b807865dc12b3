"""Consent given and withdrawn, on a tablet: what the adviser and the region see after each, and what no more."""

from datetime import UTC, date, datetime, time, timedelta

import pytest
from django.urls import reverse

from farms.models import Consent
from monitoring.models import Contribution
from tests.alerts.scene import check, count_week, monday
from tests.cast import NOW, as_factory
from tests.journeys.chromium import TABLET, chromium, signed_in
from tests.monitoring.regional.scene import consenting_farms, publish, summary

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True, databases="__all__")]
# Mondays of the two quarters that follow the cast's.
SUMMER, AUTUMN = date(2026, 7, 6), date(2026, 10, 5)
NEVER_LOOKED_AT = date(2026, 5, 25)


@pytest.fixture(autouse=True)
def scene(standing_clock, monkeypatch, group, northfield, cards):
    """Northfield has been counted for six weeks, and its matter is open."""
    # Playwright keeps an event loop in this thread; the live server has a connection of its own.
    monkeypatch.setenv("DJANGO_ALLOW_ASYNC_UNSAFE", "true")
    for number, specks in enumerate((20, 33, 45, 80, 115, 130), start=2):
        count_week(cards, monday(number), [specks, specks * 4, specks, specks, specks])
        check(group, monday(number))


def at(site, name, *args):
    return site + reverse(name, args=args)


def test_an_adviser_sees_the_farm_from_the_owners_yes_to_the_owners_no(live_server, anna, fay, northfield):
    farm, listed = at(live_server.url, "farm", northfield.id), at(live_server.url, "monday")
    with chromium() as browser:
        office, _complaints = signed_in(browser, live_server.url, fay, TABLET)
        before = office.inner_text("main")
        shut = office.goto(farm).status
        owner, complaints = signed_in(browser, live_server.url, anna, TABLET)
        owner.get_by_role("link", name="Settings").click()
        owner.get_by_role("link", name="Who may see what").click()
        owner.get_by_label("Adviser", exact=True).select_option("Fay")
        owner.get_by_role("button", name="Let this adviser see the farm").click()
        agreed = owner.inner_text("main")
        office.goto(listed)
        line = office.locator(".farm-lines > li").inner_text()
        office.get_by_role("link", name="Northfield", exact=True).click()
        seen = office.inner_text("main")
        owner.get_by_role("button", name="End it Fay").click()
        ended = owner.inner_text("main")
        owner.get_by_text("What was agreed before").click()
        kept = owner.locator("details[open]").inner_text()
        office.goto(listed)
        after = office.inner_text("main")
        closed = office.goto(farm).status
        unfound = office.inner_text("main")
    assert "No farm has agreed to you as its adviser yet." in before and shut == 404
    assert "Fay may see the farm now." in agreed and "Fay sees the farm since Jun 1, 2026." in agreed
    assert "cards over" in line and "Open matters" in seen and "over" in seen
    assert "Withdrawn. It ended at once." in ended and "Fay sees the farm" not in ended and "Dana sees" in ended
    assert "Fay: Jun 1, 2026" in kept
    # Nothing is left of it, the past included.
    assert "No farm has agreed to you as its adviser yet." in after and "Northfield" not in after
    assert closed == 404 and "Northfield" not in unfound
    assert complaints == []


def test_the_region_counts_a_farm_from_the_quarter_after_its_yes_to_the_one_after_its_no(
    live_server, standing_clock, anna, erik, region, northfield
):
    # Ten counted before. Fewer than five would wait for others, so four say yes with Northfield.
    others = consenting_farms(region, [90.0] * 14, NEVER_LOOKED_AT)
    joining(others[10:])
    page = at(live_server.url, "region", region.id)
    with chromium() as browser:
        owner, complaints = signed_in(browser, live_server.url, anna, TABLET)
        owner.goto(at(live_server.url, "consents", northfield.id))
        owner.get_by_role("link", name="Read and accept the data agreement").click()
        owner.get_by_role("button", name="Accept for Northfield").click()
        owner.get_by_role("main").get_by_role("link", name="Who may see what").click()
        owner.get_by_role("button", name="Count this farm in the region's reports").click()
        agreed = owner.inner_text("main")
        office, more = signed_in(browser, live_server.url, erik, TABLET)
        in_summer = published(region, [*others, northfield], SUMMER, standing_clock)
        office.goto(page)
        seen = office.locator("main").text_content()
        owner.reload()
        counts = owner.inner_text("main")
        owner.get_by_role("button", name="Count it no longer").click()
        ended = owner.inner_text("main")
        in_autumn = published(region, [*others, northfield], AUTUMN, standing_clock)
        office.goto(page)
        seen_later = office.locator("main").text_content()
    assert "The farm counts in its region's reports from Wednesday, July 1 on." in agreed
    assert northfield.id in in_summer and len(in_summer) == 15
    assert "15 to 19" in seen and "This farm counts." in counts
    assert "The farm still counts until Wednesday, September 30" in ended
    assert northfield.id not in in_autumn and len(in_autumn) == 14
    # One alone left: the region is told a word, so that nobody's number follows from the change.
    assert "Middle: from two thirds of the action level of 100 up to it. More is not told." in seen_later
    assert "Northfield" not in seen + seen_later
    assert complaints == more == []


def joining(farms):
    """These said yes on the cast's Monday, not before."""
    with as_factory():
        Consent.objects.filter(farm_id__in=[farm.id for farm in farms], kind="regional").update(given_at=NOW)


def published(region, farms, week, clock):
    """A week's report comes out on the Monday after; whose numbers went into it."""
    for place, farm in enumerate(farms):
        summary(farm, week, 60.0 + 5 * place)
    now = datetime.combine(week + timedelta(days=7), time(12), UTC)
    clock.write_text(now.isoformat())
    publish(region, week, now)
    with as_factory():
        return list(Contribution.objects.filter(week=week, method="card").values_list("farm_id", flat=True))
