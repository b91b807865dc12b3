"""What the floors above are told of a farm's flies to come: one answer a farm, whose temperatures, and the reasons."""

from datetime import date, timedelta

import pytest

from monitoring.rules.temperatures import table_of_days
from monitoring.selectors import development_of_farms
from monitoring.services import record_farm_temperatures, record_temperatures
from tests.cast import NOW, acting, as_role
from tests.monitoring.sending import TODAY

pytestmark = pytest.mark.django_db


def spell(lowest, highest, *, until=TODAY, n_days=21):
    return table_of_days((until - timedelta(days=back), lowest, highest) for back in range(n_days))


def told(*farms, day=TODAY, **more):
    with as_role("worker"):
        return development_of_farms(farms, day, **more)


def test_each_farm_has_its_own_answer(northfield, southmead, anna):
    record_temperatures(region=northfield.region, table=spell(18.0, 30.0), now=NOW)
    found = told(northfield, southmead)
    assert found[northfield.id].is_known and not found[southmead.id].is_known
    assert [one.kind for one in found[northfield.id].kinds] == ["house_fly", "stable_fly"]
    for one in found[southmead.id].kinds:
        assert (one.flies.earliest, one.flies.why_no_earliest) == (None, "no_temperatures")


def test_the_farms_own_days_are_counted_apart_from_its_regions(northfield, anna):
    record_temperatures(region=northfield.region, table=spell(18.0, 30.0), now=NOW)
    with acting(anna):
        record_farm_temperatures(farm=northfield, table=spell(14.0, 26.0, n_days=3), now=NOW)
    found = told(northfield)[northfield.id]
    assert (found.own_days, found.region_days, found.is_measured) == (3, 4, True)


def test_earlier_years_are_the_normal_of_the_days_to_come(northfield):
    year_before = TODAY - timedelta(days=335)
    record_temperatures(region=northfield.region, table=spell(10.0, 20.0, until=year_before, n_days=40), now=NOW)
    record_temperatures(region=northfield.region, table=spell(22.0, 34.0), now=NOW)
    found = told(northfield)[northfield.id]
    assert found.ahead == "earlier_years"
    house = found.kinds[0]
    assert house.last_week.clean_every < house.next_week.clean_every


def test_earlier_years_alone_tell_what_is_usual_and_say_that_nothing_was_measured(northfield):
    year_before = TODAY - timedelta(days=335)
    record_temperatures(region=northfield.region, table=spell(18.0, 30.0, until=year_before, n_days=60), now=NOW)
    found = told(northfield)[northfield.id]
    assert found.is_known and not found.is_measured


def test_days_after_the_one_asked_for_are_not_looked_at(northfield):
    record_temperatures(region=northfield.region, table=spell(18.0, 30.0), now=NOW)
    assert not told(northfield, day=TODAY - timedelta(days=40))[northfield.id].is_known


def test_a_gap_leaves_eggs_of_before_it_without_a_date(northfield):
    days = [day for day in spell(18.0, 30.0).days if day.day != TODAY - timedelta(days=10)]
    record_temperatures(region=northfield.region, table=table_of_days(days), now=NOW)
    before = told(northfield, laid=TODAY - timedelta(days=12))[northfield.id].kinds[0]
    after = told(northfield, laid=TODAY - timedelta(days=9))[northfield.id].kinds[0]
    assert (before.flies.earliest, before.flies.why_no_earliest) == (None, "no_temperatures")
    assert isinstance(after.flies.earliest, date)


def test_two_queries_however_many_farms(northfield, southmead, django_assert_num_queries):
    with as_role("worker"), django_assert_num_queries(2):
        development_of_farms([northfield, southmead], TODAY)


def test_no_farm_at_all():
    assert told() == {}
