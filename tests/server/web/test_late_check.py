"""The banner where a group's week should have been judged more than an hour ago and was not."""

from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from alerts.models import Running
from tests.alerts.scene import check_time, monday
from tests.alerts.test_running import note, owned, run_monday  # noqa: F401  owned is a fixture
from tests.cast import make_user
from tests.server.web.pages import at, words

pytestmark = pytest.mark.django_db
LATE = "The check of the week of April 13 has not run yet. Counts can be entered as always; the results follow."


@pytest.fixture
def late(group, owned, standing_clock):  # noqa: F811
    """The first week was judged; since the second Monday nobody is there to judge. Two hours later."""
    now = check_time(monday(0))
    run_monday(group, now)
    row = note(now, group)
    standing_clock.write_text((row.due_at + timedelta(hours=2)).isoformat())
    return row


def pages_of(anna, dana, erik, farm):
    return [
        (anna, at("farm", farm)), (dana, reverse("monday")), (dana, at("farm", farm)),
        (erik, reverse("group", args=[farm.group_id])),
    ]  # fmt: skip


def test_owner_adviser_and_coordinator_are_told_on_their_pages(browser, anna, dana, erik, northfield, late):
    for user, page in pages_of(anna, dana, erik, northfield):
        told = words(browser(user).get(page))
        assert told.count(LATE) == 1 and "This week has not been judged yet" not in told, page


def test_within_the_first_hour_nobody_is(browser, anna, dana, erik, northfield, late, standing_clock):
    standing_clock.write_text((late.due_at + timedelta(hours=1)).isoformat())
    for user, page in pages_of(anna, dana, erik, northfield):
        assert "has not run yet" not in words(browser(user).get(page)), page


def test_when_it_has_run_it_is_gone(browser, anna, dana, erik, group, northfield, late):
    now = late.due_at + timedelta(hours=2)
    run_monday(group, now)
    note(now, group)
    for user, page in pages_of(anna, dana, erik, northfield):
        assert "has not run yet" not in words(browser(user).get(page)), page


def test_it_is_told_in_spanish(browser, anna, northfield, late):
    client = browser(anna)
    client.cookies["django_language"] = "es"
    told = client.get(at("farm", northfield)).content.decode()
    assert 'role="status"' in told and "13 de abril" in told


def test_carla_of_another_group_is_told_nothing_of_it(browser, northfield, late):
    from farms.models import Group, Region
    from tests.cast import as_factory, make_farm

    with as_factory():
        other = Group.objects.create(name="Hill Advisers", slug="hill")
        hill = Region.objects.create(group=other, name="Hill", slug="hill")
    carla = make_user("Carla")
    farm = make_farm("Southmead", hill, carla)
    assert "has not run yet" not in words(browser(carla).get(at("farm", farm)))


def test_one_small_row_is_read_where_it_may_stand_and_nothing_elsewhere(browser, anna, northfield, late):
    client = browser(anna)

    def asked(page):
        with CaptureQueriesContext(connection) as queries:
            assert client.get(page).status_code == 200
        return sum(Running._meta.db_table in each["sql"] for each in queries)

    assert asked(at("farm", northfield)) == 1
    for name in ("count", "rounds", "settings", "work"):
        assert asked(at(name, northfield)) == 0
