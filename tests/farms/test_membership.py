"""Who belongs to a farm, and who counts there without an account."""

import pytest
from django.db import ProgrammingError

from farms import access, services
from farms.access import Need
from farms.errors import Forbidden, Invalid, Missing
from farms.models import Farm, GroupMember, Membership, User
from farms.selectors import farms_with_roles, members_of, people_of
from tests.cast import NOW, acting, as_factory

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize(("who", "may"), [
    ("anna", set(Need)),
    ("ben", {Need.COUNT, Need.READ, Need.RECORD}),
    ("dana", {Need.COUNT, Need.READ, Need.RECORD, Need.MANAGE}),
])  # fmt: skip
def test_each_role_may_what_it_needs(northfield: Farm, request, who, may):
    user = request.getfixturevalue(who)
    with acting(user):
        for need in Need:
            if need in may:
                assert access.farm_for(user, northfield.id, needs=need) == northfield
            else:
                with pytest.raises(Forbidden):
                    access.farm_for(user, northfield.id, needs=need)


@pytest.mark.parametrize("who", ["carla", "erik"])
def test_a_stranger_and_the_coordinator_find_no_farm(northfield: Farm, request, who):
    user = request.getfixturevalue(who)
    with acting(user), pytest.raises(Missing):
        access.farm_for(user, northfield.id, needs=Need.COUNT)


@pytest.mark.parametrize("who", ["carla", "erik"])
def test_the_door_keeps_a_stranger_out_by_itself(northfield: Farm, request, who):
    """As if row security were not there."""
    user = request.getfixturevalue(who)
    with as_factory():
        assert list(access.farms_of(user)) == []
        with pytest.raises(Missing):
            access.farm_for(user, northfield.id)


def test_everybody_sees_their_own_farms_with_their_role(northfield: Farm, southmead: Farm, anna, ben, carla, dana):
    for user, expected in ((anna, (northfield, access.OWNER)), (ben, (northfield, access.RECORDER)),
                           (carla, (southmead, access.OWNER)), (dana, (northfield, access.ADVISER))):  # fmt: skip
        with acting(user):
            assert farms_with_roles(user) == [expected]


def test_an_adviser_who_changed_to_another_group_is_a_stranger(northfield: Farm, dana: User, other_group):
    with as_factory():
        GroupMember.objects.filter(user=dana).update(ended_at=NOW)
        GroupMember.objects.create(group=other_group, user=dana, role="adviser")
    with acting(dana):
        assert farms_with_roles(dana) == []
        assert Farm.objects.count() == 0
    with as_factory():
        assert access.role_on(dana, northfield.id) is None


def test_a_member_is_added_and_leaves(northfield: Farm, anna: User, carla: User):
    with acting(anna):
        member = services.add_member(farm=northfield, user=carla, role="recorder", by=anna, now=NOW)
        assert {each.user.name for each in members_of(northfield)} == {"Anna", "Ben", "Carla"}
        with pytest.raises(services.AlreadyMember):
            services.add_member(farm=northfield, user=carla, role="owner", by=anna, now=NOW)
    with acting(carla):
        assert access.role_on(carla, northfield.id) == access.RECORDER
    with acting(anna):
        assert services.end_membership(membership=member, by=anna, now=NOW).ended_at == NOW
    with acting(carla):
        assert Farm.objects.count() == 0


def test_a_role_is_recorder_or_owner(northfield: Farm, anna: User, carla: User):
    with acting(anna), pytest.raises(Invalid, match="recorder or owner"):
        services.add_member(farm=northfield, user=carla, role="adviser", by=anna, now=NOW)


def test_the_last_owner_stays_until_there_is_another(northfield: Farm, anna: User, ben: User, carla: User):
    with acting(anna):
        own = Membership.objects.get(farm=northfield, user=anna)
        with pytest.raises(services.LastOwner):
            services.end_membership(membership=own, by=anna, now=NOW)
        services.add_member(farm=northfield, user=carla, role="owner", by=anna, now=NOW)
        services.end_membership(membership=own, by=anna, now=NOW)
        assert Farm.objects.count() == 0


def test_carla_makes_herself_no_member(northfield: Farm, anna: User, carla: User):
    with acting(anna):
        annas = Membership.objects.get(farm=northfield, user=anna)
    with acting(carla):
        with pytest.raises(ProgrammingError, match="row-level security"):
            services.add_member(farm=northfield, user=carla, role="owner", by=carla, now=NOW)
        with pytest.raises(Missing):
            services.end_membership(membership=annas, by=carla, now=NOW)


def test_who_counts_needs_no_account(northfield: Farm, anna: User, carla: User):
    with acting(anna):
        person = services.add_person(farm=northfield, name=" Pia ", initials="P", now=NOW)
        assert [each.name for each in people_of(northfield)] == ["Pia"]
        services.end_person(person=person, now=NOW)
        assert list(people_of(northfield)) == []
    with acting(carla):
        assert people_of(northfield).count() == 0


@pytest.mark.parametrize(("name", "initials", "pointers"), [
    ("", "", ["/name", "/initials"]),
    ("Pia", "PIAPIAP", ["/initials"]),
])  # fmt: skip
def test_a_person_has_a_name_and_initials(northfield: Farm, anna: User, name, initials, pointers):
    with acting(anna), pytest.raises(Invalid) as refused:
        services.add_person(farm=northfield, name=name, initials=initials, now=NOW)
    assert [each.pointer for each in refused.value.errors] == pointers
