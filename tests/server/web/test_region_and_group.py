from datetime import UTC, date, datetime

import pytest
from django.urls import reverse

from alerts.models import GroupLevel
from farms.models import Group, Region
from monitoring.models import RegionReport
from tests.cast import as_factory, as_role
from tests.server.web.pages import words

pytestmark = pytest.mark.django_db(transaction=True, databases="__all__")
WHEN = datetime(2026, 6, 1, 11, tzinfo=UTC)


def report(region, week, disclosure, **values):
    with as_role("cohort"):
        RegionReport.objects.create(
            region=region, method="card", week=week, disclosure=disclosure, level=100, cutoff_at=WHEN,
            published_at=WHEN, cohort_hash=bytes(32), rule_version="1", code_version="1", **values,
        )  # fmt: skip


@pytest.fixture
def reports(region):
    report(region, date(2026, 5, 11), "nothing")
    report(region, date(2026, 5, 18), "word", word="middle")
    report(region, date(2026, 5, 25), "numbers", mean=84.0, share_over=0.3, contributors="10 to 14", word="middle")
    return region


def test_numbers_a_word_or_nothing_each_stand_as_they_were_published(browser, anna, northfield, reports):
    page = words(browser(anna).get(reverse("region", args=[reports.id])))
    assert "May 25 not told not told 84 not told about 3 in 10 not told 10 to 14" in page
    assert "May 18 not told not told middle not told" in page
    assert "May 11 not told" in page
    assert "Do not hold one dairy's raw counts against another's." in page
    assert page.index("May 25 not told") < page.index("May 11 not told")


def test_the_regions_of_the_group_are_open_to_its_people_and_farms(browser, anna, dana, erik, northfield, reports):
    for user in (anna, dana, erik):
        assert browser(user).get(reverse("region", args=[reports.id])).status_code == 200


def test_carla_of_another_group_finds_no_region_and_no_group_here(browser, northfield, reports):
    from tests.cast import make_farm, make_user

    carla = make_user("Carla")
    with as_factory():
        other = Group.objects.create(name="Hill Advisers", slug="hill")
        hill = Region.objects.create(group=other, name="Hill", slug="hill")
    make_farm("Southmead", hill, carla)
    client = browser(carla)
    assert client.get(reverse("region", args=[reports.id])).status_code == 404
    assert client.get(reverse("group", args=[reports.group_id])).status_code == 404
    assert client.get(reverse("region", args=[hill.id])).status_code == 200


def test_a_region_without_a_report_says_so(browser, anna, northfield, region):
    assert "No report has been published yet." in words(browser(anna).get(reverse("region", args=[region.id])))


def test_the_coordinator_and_nobody_else_is_led_to_the_regions_temperatures(
    browser, anna, dana, erik, northfield, region
):
    temperatures = reverse("region_temperatures", args=[region.id])
    led = {
        user.name: temperatures in browser(user).get(reverse("region", args=[region.id])).content.decode()
        for user in (anna, dana, erik)
    }
    assert led == {"Anna": False, "Dana": False, "Erik": True}


def test_the_coordinator_sets_the_groups_level_with_a_reason(browser, erik, group, region):
    client, address = browser(erik), reverse("group", args=[group.id])
    assert "Lower Valley" in words(client.get(address))
    sent = {"method": "card", "value": "80", "valid_from": "2026-06-01", "reason": "Towns grow nearer."}
    page = words(client.post(address, sent, follow=True))
    assert "more than 80 specks a card the group's, from Jun 1, 2026 Towns grow nearer." in page
    refused = client.post(address, sent | {"value": "0"})
    assert refused.status_code == 422
    assert GroupLevel.objects.count() == 1


def test_others_of_the_group_read_its_levels_and_change_none(browser, anna, dana, group, northfield):
    address = reverse("group", args=[group.id])
    sent = {"method": "card", "value": "80", "valid_from": "2026-06-01", "reason": "because"}
    for user in (anna, dana):
        client = browser(user)
        assert "Set the group's level" not in words(client.get(address))
        assert client.post(address, sent).status_code == 403
    assert not GroupLevel.objects.exists()
