"""A farm goes to another group by two words: the group's invitation, and a yes of one of the farm's owners."""

from datetime import timedelta

import pytest
from django.db import connection
from django.utils import timezone

from farms.access import farm_for
from farms.agreement import IN_FORCE, standing_of
from farms.errors import Forbidden, Missing
from farms.ledger import verify_links
from farms.models import ApiToken, Consent, Farm, GroupInvitation, Holding, LedgerEntry, LogEvent, Region
from farms.selectors import consents_of
from farms.services import (
    FarmNameTaken,
    FarmOfThisGroup,
    GroupInvited,
    InvitationSpent,
    InvitedElsewhere,
    InvitedFarm,
    accept_agreement,
    give_consent,
    hand_farm_over,
    invite_to_group,
    make_token,
)
from farms.services.agreement import Yes
from monitoring.regional.cohort import cohort_of, still_there
from tests.cast import NOW, acting, as_factory, as_role, make_farm, make_group_member, make_user

pytestmark = pytest.mark.django_db
REAL = timezone.now()


@pytest.fixture
def hills(other_group) -> Region:
    with as_factory():
        return Region.objects.create(group=other_group, name="Hills", slug="hills")


@pytest.fixture
def hilda(other_group):
    """She coordinates the other group."""
    return make_group_member("Hilda", other_group, "coordinator")


def invited(hilda, region, owner, **more) -> GroupInvitation:
    farm = InvitedFarm(more.pop("name", "Northfield"), region, more.pop("holding", ""), "America/Chicago")
    who = GroupInvited(email=owner.email, name=owner.name, role="owner", language="en", farm=farm)
    with acting(hilda):
        return invite_to_group(group=region.group, invited=who, by=hilda, now=REAL)[0]


def hand_over(invitation, farm, user):
    with acting(user):
        return hand_farm_over(invitation=invitation, farm=farm, user=user, now=REAL, begins_at=NOW)


def now_of(farm) -> Farm:
    with as_factory():
        return Farm.objects.select_related("group", "region", "holding").get(id=farm.id)


def test_the_farm_goes_with_its_people_and_nobody_it_let_in_comes_along(
    northfield, anna, ben, dana, hilda, hills, other_group
):
    valley = northfield.region
    with acting(anna):
        give_consent(farm=northfield, kind="regional", by=anna, now=NOW)
    done = hand_over(invited(hilda, hills, anna), northfield, anna)
    assert (done.farm.group_id, done.farm.region_id) == (other_group.id, hills.id)
    assert done.advisers == (dana,)
    moved = now_of(northfield)
    assert (moved.group, moved.region, moved.holding.group, moved.name) == (
        other_group, hills, other_group, "Northfield",
    )  # fmt: skip
    for member in (anna, ben):
        with acting(member):
            assert farm_for(member, northfield.id).group_id == other_group.id
    with acting(dana), pytest.raises(Missing):
        farm_for(dana, northfield.id)
    with acting(anna):
        assert not consents_of(northfield).filter(withdrawn_at__isnull=True).exists()
        assert verify_links(northfield.id) == []
        assert LedgerEntry.objects.get(farm=northfield, kind="handed_over").actor_id == anna.id
        assert LogEvent.objects.get(farm=northfield, kind="handed_over").about == other_group.name
    with as_role("app"), pytest.raises(InvitationSpent):
        hand_over(GroupInvitation.objects.get(), make_farm("Eastfield", valley, anna), anna)


def test_the_next_group_s_adviser_takes_a_yes_of_its_own(northfield, anna, dana, hilda, hills, other_group):
    hal = make_group_member("Hal", other_group, "adviser")
    farm = hand_over(invited(hilda, hills, anna), northfield, anna).farm
    with acting(hal), pytest.raises(Missing):
        farm_for(hal, farm.id)
    with acting(anna):
        give_consent(farm=farm, kind="adviser", adviser=hal, by=anna, now=NOW)
    with acting(hal):
        assert farm_for(hal, farm.id).region_id == hills.id


def test_what_was_accepted_of_the_group_before_doesn_t_hold_for_the_next(northfield, anna, hilda, hills):
    with acting(anna):
        accept_agreement(farm=northfield, yes=Yes(IN_FORCE, "en"), by=anna, now=NOW)
        assert standing_of(northfield, NOW.date()).holds
    farm = hand_over(invited(hilda, hills, anna), northfield, anna).farm
    with acting(anna):
        assert standing_of(farm, NOW.date()).accepted is None
        accept_agreement(farm=farm, yes=Yes(IN_FORCE, "en"), by=anna, now=NOW)
        assert standing_of(farm, NOW.date()).holds


def test_a_program_s_key_of_an_adviser_ends_and_the_farm_s_own_goes_on(northfield, anna, dana, hilda, hills):
    ends = NOW + timedelta(days=90)
    with acting(dana):
        make_token(farm=northfield, name="Hers", scope="read", by=dana, expires_at=ends, now=NOW)
    with acting(anna):
        make_token(farm=northfield, name="Ours", scope="write", by=anna, expires_at=ends, now=NOW)
    hand_over(invited(hilda, hills, anna), northfield, anna)
    with as_factory():
        live = ApiToken.objects.filter(farm=northfield, revoked_at__isnull=True)
        assert list(live.values_list("name", flat=True)) == ["Ours"]


def test_the_region_it_leaves_gives_words_only(northfield, anna, hilda, hills):
    with acting(anna):
        # Who joins in a quarter counts from the next one on.
        give_consent(farm=northfield, kind="regional", by=anna, now=NOW - timedelta(days=120))
    with as_role("cohort"):
        cohort = cohort_of(northfield.region, NOW.date(), now=NOW, using="default")
        assert list(still_there(cohort, using="default")) == [northfield.id]
    hand_over(invited(hilda, hills, anna), northfield, anna)
    with as_role("cohort"):
        assert still_there(cohort, using="default") == {}


@pytest.mark.parametrize("who", ["ben", "carla", "dana"])
def test_nobody_but_an_owner_hands_it_over(northfield, anna, hilda, hills, who, request):
    user = request.getfixturevalue(who)
    with pytest.raises(Forbidden):
        hand_over(invited(hilda, hills, user), northfield, user)
    assert now_of(northfield).group_id == northfield.group_id


def test_the_invitation_is_for_its_own_person_and_for_an_owner(northfield, anna, ben, hilda, hills, other_group):
    with pytest.raises(InvitedElsewhere):
        hand_over(invited(hilda, hills, make_user("Olga")), northfield, anna)
    who = GroupInvited(email=anna.email, name="Anna", role="adviser", language="en")
    with acting(hilda):
        adviser = invite_to_group(group=other_group, invited=who, by=hilda, now=REAL)[0]
    with pytest.raises(InvitationSpent):
        hand_over(adviser, northfield, anna)


def test_within_one_group_there_is_nothing_to_hand_over(northfield, anna, erik):
    invitation = invited(erik, northfield.region, anna, name="Another")
    with pytest.raises(FarmOfThisGroup):
        hand_over(invitation, northfield, anna)


def test_where_the_holding_has_a_farm_of_that_name_nothing_changes(northfield, anna, dana, hilda, hills, other_group):
    with as_factory():
        holding = Holding.objects.create(group=other_group, name="Twins")
        Farm.objects.create(group=other_group, region=hills, holding=holding, name="Northfield", time_zone="UTC")
    with pytest.raises(FarmNameTaken):
        hand_over(invited(hilda, hills, anna, holding="Twins"), northfield, anna)
    assert now_of(northfield).group_id == northfield.group_id
    with as_factory():
        assert Consent.objects.filter(farm=northfield, withdrawn_at__isnull=True).exists()


def test_whoever_invited_must_coordinate_still(northfield, anna, hilda, hills):
    invitation = invited(hilda, hills, anna)
    with as_factory():
        hilda.group_roles.update(ended_at=NOW)
    with pytest.raises(InvitationSpent):
        hand_over(invitation, northfield, anna)
    assert now_of(northfield).group_id == northfield.group_id


def move(farm, invitation, holding, *, by) -> bool:
    """The database's own answer, without the service before it."""
    with as_role("app"), acting(by), connection.cursor() as cursor:
        cursor.execute("SELECT move_farm(%s, %s, %s)", [farm.id, invitation.id, holding.id])
        return cursor.fetchone()[0]


def test_the_database_asks_all_of_it_again(northfield, anna, ben, carla, dana, hilda, hills, other_group):
    """The second wall: no member, no stranger, no spent invitation, and nobody whom the farm had let in."""
    invitation, elsewhere = invited(hilda, hills, anna), northfield.holding
    with as_factory():
        holding = Holding.objects.create(group=other_group, name="Hill Holding")
    assert not move(northfield, invitation, holding, by=anna)  # dana is still let in
    with as_factory():
        Consent.objects.filter(farm=northfield).update(withdrawn_at=NOW)
    for user in (ben, carla, dana, hilda):
        assert not move(northfield, invitation, holding, by=user)
    assert not move(northfield, invitation, elsewhere, by=anna)
    with as_factory():
        GroupInvitation.objects.update(withdrawn_at=REAL)
    assert not move(northfield, invitation, holding, by=anna)
    with as_factory():
        GroupInvitation.objects.update(withdrawn_at=None)
    assert move(northfield, invitation, holding, by=anna)
    assert not move(northfield, invitation, holding, by=anna)
