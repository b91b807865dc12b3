"""Many ids in one array: what `any_of` finds, and what it sends."""

import pytest
from django.core.exceptions import EmptyResultSet

from farms.ids import uuid7
from farms.lookups import array_of
from farms.models import Facility, Farm, Season
from tests.cast import as_factory

pytestmark = pytest.mark.django_db


def test_a_column_is_any_of_these_ids(northfield: Farm, calf_barn: Facility):
    with as_factory():
        assert list(Farm.objects.filter(id__any_of=array_of([northfield.id, uuid7()]))) == [northfield]
        assert list(
            Facility.objects.filter(farm_id__any_of=array_of({northfield.id}), id__any_of=array_of([calf_barn.id]))
        ) == [calf_barn]
        assert calf_barn in Facility.objects.filter(farm__any_of=array_of((northfield.id,)))
        assert not Farm.objects.exclude(id__any_of=array_of([northfield.id])).filter(id=northfield.id).exists()


def test_any_of_none_is_nobody_and_no_query(northfield: Farm, django_assert_num_queries):
    with as_factory(), django_assert_num_queries(0):
        assert list(Farm.objects.filter(id__any_of=array_of([]))) == []
    with as_factory():
        assert list(Farm.objects.exclude(id__any_of=array_of([]))) == [northfield]
    with pytest.raises(EmptyResultSet):
        str(Farm.objects.filter(id__any_of=array_of(set())).query)


def test_all_ids_are_one_parameter():
    ids = [uuid7() for _ in range(3)]
    sql, parameters = Season.objects.filter(farm_id__any_of=array_of(ids)).query.sql_with_params()
    assert 'farm_id" = ANY(%s::uuid[])' in sql
    assert parameters == (array_of(ids).text,)
