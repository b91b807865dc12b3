"""A group's regions side by side: for its coordinator, by name and never ranked; and what is held back."""

from datetime import timedelta

import pytest
from django.urls import reverse

from alerts.delivery.coordinator_report import queue_coordinator_reports
from alerts.models import RoundsTold, Running
from farms.models import Group, GroupMember
from server.metrics import _held
from tests.cast import NOW, as_factory, as_role, make_farm, make_user
from tests.regions import NUMBERS, WEEK, held, report, season
from tests.server.web.pages import words

pytestmark = pytest.mark.django_db(transaction=True, databases="__all__")


def page_of(group):
    return reverse("regions_compared", args=[group.id])


def told_by(group):
    with as_role("worker"):
        queue_coordinator_reports(group, WEEK, NOW)


def test_regions_stand_by_name_with_what_was_published(browser, erik, northfield, region, elsewhere, group):
    season(region)
    report(elsewhere, **{**NUMBERS, "normal": 0.7, "mean": 30.0, "word": "low"})
    page = words(browser(erik).get(page_of(group)))
    assert page.index("Lower Valley Growth: rising") < page.index("Upper Valley Growth: rising")
    assert page.index("% more) 1.3") < page.index("% more) 0.7")
    assert "Lower Valley Growth: not told not told not told not told not told" in page  # traps


def test_rounds_are_told_of_five_farms_or_more_and_never_by_what_remains(
    browser, erik, anna, northfield, region, elsewhere, group
):
    for number in range(5):
        make_farm(f"Field {number}", elsewhere, anna)
    told_by(group)
    page = words(browser(erik).get(page_of(group)))
    assert "Lower Valley not told Upper Valley not told The whole group 6 0 6" in page
    with as_factory():
        assert [line.of for line in RoundsTold.objects.all()] == ["all"]


def test_what_was_first_told_of_a_week_stays(browser, erik, anna, northfield, region, elsewhere, group):
    for number in range(4):
        make_farm(f"Field {number}", region, anna)
    told_by(group)
    make_farm("Latecomer", region, anna)
    told_by(group)
    page = words(browser(erik).get(page_of(group)))
    assert "Lower Valley 5 0 5" in page and "Latecomer" not in page and "Northfield" not in page


def test_the_coordinator_and_nobody_else_switches_to_by_housing(browser, anna, dana, erik, northfield, region, group):
    at = reverse("split_region", args=[group.id, region.id])
    for user in (anna, dana):
        assert browser(user).get(page_of(group)).status_code == 403
        assert browser(user).post(at, {"by_housing": "yes"}).status_code == 403
    frida = make_user("Frida")
    assert browser(frida).get(page_of(group)).status_code == browser(frida).post(at, {}).status_code == 404
    assert browser().get(page_of(group)).status_code == browser().post(at, {}).status_code == 302
    client = browser(erik)
    told = words(client.post(at, {"by_housing": "yes"}, follow=True))
    assert "From the next quarter on Lower Valley is reported by housing too" in told
    region.refresh_from_db()
    assert region.split_by_housing
    client.post(at, {"by_housing": "no"})
    region.refresh_from_db()
    assert not region.split_by_housing


def test_another_groups_region_is_not_there(browser, erik, region, group):
    with as_factory():
        other = Group.objects.create(name="Hill Advisers", slug="hill")
        GroupMember.objects.create(group=other, user=erik, role="coordinator")
    at = reverse("split_region", args=[other.id, region.id])
    assert browser(erik).post(at, {"by_housing": "yes"}).status_code == 404


def test_what_is_held_back_stands_with_why_and_what_to_do_until_it_is_out(browser, erik, northfield, region, group):
    held(region, "untrue")
    held(region, "bounded", WEEK - timedelta(weeks=1))
    client, at = browser(erik), reverse("running", args=[group.id])
    page = words(client.get(at))
    assert "Lower Valley May 25 A figure did not follow from what was kept of that week. Tell whoever runs" in page
    assert "Lower Valley May 18 From the figures a contributor could have been worked out." in page
    assert [sample.value for sample in _held([Running(group=group)]).samples] == [2]
    report(region, **NUMBERS)
    page = words(client.get(at))
    assert "May 25 A figure" not in page and "May 18 From the figures" in page
    office = make_user("Olive", is_staff=True)
    assert "Region reports held back" in words(browser(office).get(at))


def test_where_nothing_is_held_back_nothing_is_said_of_it(browser, erik, northfield, region, group):
    assert "held back" not in words(browser(erik).get(reverse("running", args=[group.id])))
