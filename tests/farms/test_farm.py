"""A new farm is registered by a coordinator of its group, who sees nothing of it afterwards."""

from dataclasses import replace

import pytest

from farms import access, services
from farms.errors import Forbidden, Invalid, Missing
from farms.ledger import verify_links
from farms.models import Farm, Group, GroupMember, Holding, Region, User
from farms.models.access import GroupRole
from farms.selectors import members_of
from tests.cast import NOW, acting, as_factory

pytestmark = pytest.mark.django_db


@pytest.fixture
def new_farm(group: Group, region: Region) -> services.NewFarm:
    with as_factory():
        holding = Holding.objects.create(group=group, name="Westmoor Holding")
    return services.NewFarm(group, region, holding, " Westmoor ", "America/Chicago", "en")


def test_a_coordinator_registers_a_farm_for_its_owner(new_farm, erik: User, anna: User):
    with acting(erik):
        farm = services.register_farm(by=erik, farm=new_farm, owner=anna, now=NOW)
        assert Farm.objects.count() == 0
    with acting(anna):
        assert access.farm_for(anna, farm.id, needs=access.Need.OWN).name == "Westmoor"
        assert [member.user for member in members_of(farm)] == [anna]
        assert verify_links(farm.id) == []
        assert services.give_consent(farm=farm, kind="regional", by=anna, now=NOW).entry == 1


def test_carla_who_is_no_coordinator_registers_nothing(new_farm, carla: User):
    with acting(carla), pytest.raises(Missing):
        services.register_farm(by=carla, farm=new_farm, owner=carla, now=NOW)


def test_an_adviser_of_the_group_registers_nothing(new_farm, dana: User):
    with acting(dana), pytest.raises(Forbidden):
        services.register_farm(by=dana, farm=new_farm, owner=dana, now=NOW)


def test_the_database_refuses_by_itself_who_acts_under_a_coordinators_name(new_farm, erik: User, carla: User):
    with acting(carla), pytest.raises(Forbidden):
        services.register_farm(by=erik, farm=new_farm, owner=carla, now=NOW)


def test_a_former_coordinator_registers_nothing(new_farm, erik: User):
    with as_factory():
        GroupMember.objects.filter(user=erik, role=GroupRole.COORDINATOR).update(ended_at=NOW)
    with acting(erik), pytest.raises(Missing):
        services.register_farm(by=erik, farm=new_farm, owner=erik, now=NOW)


def test_a_name_stands_once_in_a_holding(new_farm, erik: User, anna: User):
    with acting(erik):
        services.register_farm(by=erik, farm=new_farm, owner=anna, now=NOW)
        with pytest.raises(services.FarmNameTaken):
            services.register_farm(by=erik, farm=new_farm, owner=anna, now=NOW)


def test_an_id_is_registered_once(new_farm, erik: User, anna: User):
    with acting(erik):
        farm = services.register_farm(by=erik, farm=new_farm, owner=anna, now=NOW)
        again = replace(new_farm, id=farm.id, name="Eastmoor")
        with pytest.raises(services.FarmAlreadyRegistered):
            services.register_farm(by=erik, farm=again, owner=anna, now=NOW)


def test_everything_wrong_is_named_at_once(new_farm, other_group: Group, erik: User, anna: User):
    with as_factory():
        region = Region.objects.create(group=other_group, name="Hills", slug="hills")
        holding = Holding.objects.create(group=other_group, name="Hill Holding")
    wrong = services.NewFarm(new_farm.group, region, holding, "  ", "Mars/Olympus", "tlh")
    with acting(erik), pytest.raises(Invalid) as refused:
        services.register_farm(by=erik, farm=wrong, owner=anna, now=NOW)
    assert [each.pointer for each in refused.value.errors] == [
        "/name", "/time_zone", "/language", "/region", "/holding",
    ]  # fmt: skip
