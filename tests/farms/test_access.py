"""The door to a record and to a group: both walls stand alone, so here the door stands without row security."""

from uuid import UUID

import pytest

from farms import access, services
from farms.errors import Forbidden, Missing
from farms.ids import uuid7
from farms.models import ApiToken, Facility, Farm, Group, User
from farms.models.access import GroupRole
from tests.cast import NOW, acting, as_factory

pytestmark = pytest.mark.django_db


@pytest.fixture
def bens_token(northfield: Farm, ben: User) -> ApiToken:
    with as_factory():
        return ApiToken.objects.create(
            farm=northfield, name="Barn script", scope="read", key_hash=bytes(32), made_by=ben, made_at=NOW,
            expires_at=NOW,
        )  # fmt: skip


def test_a_record_is_found_on_its_own_farm_only(northfield: Farm, southmead: Farm, calf_barn: Facility):
    with as_factory():
        assert access.record_of(northfield, Facility, calf_barn.id) == calf_barn
        for farm, record_id in ((southmead, calf_barn.id), (northfield, uuid7())):
            with pytest.raises(Missing):
                access.record_of(farm, Facility, record_id)
            with pytest.raises(Missing):
                access.one_of(Facility.objects.filter(farm=farm), record_id)


def test_a_token_opens_its_farm_without_row_security_too(northfield: Farm, southmead: Farm, bens_token: ApiToken):
    with as_factory():
        assert list(access.farms_of(bens_token)) == [northfield]
        assert access.farm_for(bens_token, northfield.id) == northfield
        with pytest.raises(Missing):
            access.farm_for(bens_token, southmead.id)
        with pytest.raises(Missing):
            access.group_for(bens_token, northfield.group_id)


def test_the_database_may_say_no_where_the_door_says_yes(northfield: Farm, bens_token: ApiToken, anna: User):
    """The token has ended: nobody gave it to the database, so the second wall shows nothing."""
    with acting(anna):
        assert access.farm_for(bens_token, northfield.id) == northfield
    with pytest.raises(Missing):
        access.farm_for(bens_token, northfield.id)


def test_a_group_is_known_to_its_members_and_its_farms(group: Group, northfield: Farm, anna: User, erik: User, dana):
    for user in (anna, erik, dana):
        with acting(user):
            assert access.group_for(user, group.id) == group
    with acting(erik):
        assert access.group_for(erik, group.id, role=GroupRole.COORDINATOR) == group


@pytest.mark.parametrize("who", ["anna", "dana"])
def test_the_coordinators_work_is_not_for_the_others_of_the_group(northfield: Farm, request, who):
    user = request.getfixturevalue(who)
    with acting(user), pytest.raises(Forbidden):
        access.group_for(user, northfield.group_id, role=GroupRole.COORDINATOR)


def test_carla_knows_no_group_that_she_has_nothing_to_do_with(northfield: Farm, other_group: Group, carla: User):
    with acting(carla):
        for group_id in (northfield.group_id, other_group.id, UUID(int=0)):
            with pytest.raises(Missing):
                access.group_for(carla, group_id)


def test_the_log_names_a_kind_of_actor_and_never_a_name(northfield: Farm, bens_token, anna, ben, dana, carla):
    expected = {anna: "farm_staff", ben: "farm_staff", dana: "adviser", bens_token: "program", carla: "service"}
    with as_factory():
        for who, kind in expected.items():
            assert access.actor_on(who, northfield.id) == access.Actor(kind, who.id)


def test_a_name_that_another_farm_has_is_free(northfield: Farm, southmead: Farm, carla: User):
    with acting(carla):
        assert services.add_facility(farm=southmead, name="Dry lot", kind="dry_lot").farm_id == southmead.id
