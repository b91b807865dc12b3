import pytest

from farms.access import one_of
from farms.errors import Missing
from farms.ids import uuid7
from farms.selectors import facilities_of, group_roles_of, regions_of, seasons_of
from tests.cast import acting


def test_a_record_is_found_among_those_let_in(anna, northfield, calf_barn):
    with acting(anna):
        assert one_of(facilities_of(northfield), calf_barn.id) == calf_barn
        assert seasons_of(northfield).count() == 1


def test_an_unknown_id_and_another_farms_are_both_missing(anna, carla, northfield, southmead, calf_barn):
    with acting(carla):
        for wrong in (calf_barn.id, uuid7()):
            with pytest.raises(Missing):
                one_of(facilities_of(southmead), wrong)


def test_the_group_knows_its_people_and_regions(dana, erik, carla, group, region, elsewhere):
    assert [role.role for role in group_roles_of(dana)] == ["adviser"]
    assert [role.role for role in group_roles_of(erik)] == ["coordinator"]
    assert not group_roles_of(carla).exists()
    assert list(regions_of(group)) == [region, elsewhere]
