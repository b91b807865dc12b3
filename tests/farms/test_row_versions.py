"""Versions of rows: the same while nothing that is read changed, another after every change."""

from collections.abc import Callable

import pytest
from django.db import connection

from farms.models import Facility, Farm, Season, User
from farms.row_versions import Rows, versions_of_farms
from tests.cast import acting, as_factory

pytestmark = pytest.mark.django_db
CALVES = "Calf barn"
READ = (Rows(Farm, of_farm="t.id"), Rows(Facility), Rows(Season, "t.opens_on <= %(day)s"))
ASKED = {"day": "2026-06-01"}


def versions(user: User, farm: Farm):
    with acting(user):
        return versions_of_farms([farm.id], READ, ASKED)[farm.id]


def insert(farm: Farm) -> None:
    Facility.objects.create(farm=farm, name="New barn", kind="calf_barn", position=9)


def change(farm: Farm) -> None:
    Facility.objects.filter(farm=farm, name=CALVES).update(name="Renamed")


def change_to_the_same(farm: Farm) -> None:
    Facility.objects.filter(farm=farm).update(position=0)


def delete(farm: Farm) -> None:
    Season.objects.filter(farm=farm).delete()


def open_a_season(farm: Farm) -> None:
    Season.objects.create(farm=farm, opens_on="2025-05-01", closes_on="2025-10-01")


CHANGES = (insert, change, change_to_the_same, delete, open_a_season)


@pytest.mark.parametrize("how", CHANGES)
def test_every_change_is_another_version(
    how: Callable[[Farm], None], northfield: Farm, calf_barn: Facility, anna: User
):
    before = versions(anna, northfield)
    assert before == versions(anna, northfield)
    with as_factory():
        how(northfield)
    assert versions(anna, northfield) != before


def test_within_a_transaction_each_change_is_another(northfield: Farm, calf_barn: Facility, anna: User):
    """Also back and forth: all of these rows are written by one transaction, and the first and last hold the same."""
    seen = set()
    for name in ("One", "Two", "One", "Two"):
        with as_factory():
            Facility.objects.filter(id=calf_barn.id, farm=northfield).update(name=name)
        seen.add(versions(anna, northfield))
    assert len(seen) == 4


def test_what_is_not_asked_for_changes_nothing(northfield: Farm, southmead: Farm, calf_barn: Facility, anna: User):
    before = versions(anna, northfield)
    with as_factory():
        Season.objects.create(farm=northfield, opens_on="2027-05-01")
        Facility.objects.create(farm=southmead, name="New barn", kind="calf_barn", position=9)
    assert versions(anna, northfield) == before


def test_who_reads_nothing_is_told_nothing(northfield: Farm, calf_barn: Facility, carla: User):
    assert versions(carla, northfield) is None


def test_many_farms_are_asked_at_once(
    northfield: Farm, southmead: Farm, anna: User, django_assert_num_queries: Callable
):
    with acting(anna), django_assert_num_queries(1):
        found = versions_of_farms([northfield.id, southmead.id], READ, ASKED)
    assert found[northfield.id] is not None and found[southmead.id] is None


def test_a_table_that_is_rewritten_is_read_anew_and_not_mistaken(northfield: Farm, calf_barn: Facility, anna: User):
    """What is kept may be made once too often, never once too seldom."""
    before = versions(anna, northfield)
    with as_factory(), connection.cursor() as cursor:
        cursor.execute("UPDATE farms_facility SET name = name WHERE farm_id = %s", [northfield.id])
    assert versions(anna, northfield) != before
