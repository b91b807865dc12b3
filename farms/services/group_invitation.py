"""A coordinator's invitations by mail: to the group, and to the first owner of a farm that is registered by their yes.

Until the owner accepts there is no farm: nobody has to be found for one that a mistyped address would have begun.
"""

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db import transaction
from django.db.models import QuerySet
from django.utils.translation import gettext_lazy as _

from farms.access import group_for
from farms.constraints import explained
from farms.errors import Conflict, Detail, Invalid, Missing
from farms.models import Farm, Group, GroupInvitation, GroupMember, Holding, Region, User
from farms.models.access import GroupRole
from farms.models.invitation import WAITS, GroupInvitedAs
from farms.services.farm import NewFarm, place_faults, register_farm
from farms.services.guest import LONGEST_STAY, AlreadyGuest, GuestEndWrong, invite_guest
from farms.services.inviting import (
    InvitationSpent,
    InvitedAlready,
    InvitedElsewhere,
    Invitee,
    fresh,
    make_room,
    refuse,
    renew,
    use_up,
)
from farms.tenancy.acting import meanwhile_for_user

MOST_WAITING = 300


class GroupRoleTaken(Conflict):
    code = "group_role_taken"
    message = _("This person has that role in the group already.")


class GroupRoleUnknown(Invalid):
    code = "group_role_unknown"
    message = _("There is no such role in a group. Choose coordinator, adviser or guest.")


@dataclass(frozen=True)
class InvitedFarm:
    """The farm that is registered when its first owner accepts. `holding` is a name: farms of one owner share it."""

    name: str
    region: Region
    holding: str
    time_zone: str


@dataclass(frozen=True)
class GroupInvited(Invitee):
    """Whom a coordinator invites. `stays_until` for a guest, `farm` for the first owner of a farm, else None."""

    stays_until: datetime | None = None
    farm: InvitedFarm | None = None


@transaction.atomic
def invite_to_group(*, group: Group, invited: GroupInvited, by: User, now: datetime) -> tuple[GroupInvitation, str]:
    """An invitation and the key of its address, told here and never again.

    Raises Missing or Forbidden (no coordinator of the group), Invalid, GuestEndWrong, InvitedAlready, GroupRoleTaken or
    TooManyInvitations.
    """
    group_for(by, group.id, role=GroupRole.COORDINATOR)
    values = _values(group, invited)
    _check_role(group, values["email"], invited, now)
    # Two at once may make one more than that: nothing hangs on the exact number.
    make_room(GroupInvitation.objects.filter(group=group), MOST_WAITING, now)
    key, columns = fresh(now)
    with explained({"group_invitation_once_while_it_waits": InvitedAlready(pointer="/email")}):
        made = GroupInvitation.objects.create(group=group, invited_by=by, made_at=now, **values, **columns)
    return made, key


@transaction.atomic
def send_group_invitation_again(*, invitation: GroupInvitation, by: User, now: datetime) -> str:
    """A new key for two more weeks; the one before opens nothing any more. Raises InvitationDone."""
    group_for(by, invitation.group_id, role=GroupRole.COORDINATOR)
    return renew(_row(invitation), by, now)


def withdraw_group_invitation(*, invitation: GroupInvitation, now: datetime) -> None:
    """Take an invitation back; a second time changes nothing."""
    _row(invitation).filter(WAITS).update(withdrawn_at=now)


def accept_group_invitation(
    *, invitation: GroupInvitation, user: User, now: datetime, begins_at: datetime
) -> Farm | None:
    """Give the invited person their role, or register their farm, which is returned; acting for whoever invited.

    `now` is real time, by which keys live, `begins_at` the service's. Raises InvitationSpent, InvitedElsewhere,
    FarmNameTaken or AlreadyGuest.
    """
    if user.email != invitation.email:
        raise InvitedElsewhere()
    with meanwhile_for_user(invitation.invited_by_id):
        if not may_invite(invitation) or not use_up(_row(invitation), user, now):
            raise InvitationSpent()
        if invitation.role == GroupInvitedAs.OWNER:
            return _register(invitation, user, begins_at)
        _add(invitation, user, now)
    return None


def may_invite(invitation: GroupInvitation) -> bool:
    """Whether whoever invited still coordinates the group."""
    lasting = GroupMember.objects.lasting().filter(user_id=invitation.invited_by_id, group_id=invitation.group_id)
    return lasting.filter(role=GroupRole.COORDINATOR).exists()


def _values(group: Group, invited: GroupInvited) -> dict[str, Any]:
    """The columns of an invitation. Raises Invalid."""
    wrong, values = invited.faults(), invited.columns()
    if invited.role not in GroupInvitedAs.values or (invited.role == GroupInvitedAs.OWNER) != bool(invited.farm):
        raise GroupRoleUnknown(pointer="/role")
    if invited.farm is not None:
        farm = invited.farm
        wrong += place_faults(farm.name, farm.time_zone, invited.language)
        if farm.region.group_id != group.id:
            wrong.append(Detail("/region", str(_("Choose a region of this group.")), "other_group"))
        values |= {"farm_name": farm.name.strip(), "region": farm.region, "time_zone": farm.time_zone}
        values["holding_name"] = farm.holding.strip() or farm.name.strip()
    refuse(wrong)
    return values | {"stays_until": invited.stays_until}


def _check_role(group: Group, email: str, invited: GroupInvited, now: datetime) -> None:
    """Who is a guest or has the role already is told so now, not when the mail was opened."""
    if invited.role == GroupInvitedAs.OWNER:
        return
    if invited.role == GroupInvitedAs.GUEST and not (
        invited.stays_until and now < invited.stays_until <= now + LONGEST_STAY
    ):
        raise GuestEndWrong(pointer="/until", days=LONGEST_STAY.days)
    lasting = GroupMember.objects.lasting().filter(group=group, user__email=email, role=invited.role)
    if lasting.exists():
        guest = invited.role == GroupInvitedAs.GUEST
        raise AlreadyGuest(pointer="/email") if guest else GroupRoleTaken(pointer="/email")


def _register(invitation: GroupInvitation, user: User, begins_at: datetime) -> Farm:
    if invitation.region is None:
        raise Missing()
    holding, _made = Holding.objects.get_or_create(group=invitation.group, name=invitation.holding_name)
    farm = NewFarm(
        group=invitation.group, region=invitation.region, holding=holding, name=invitation.farm_name,
        time_zone=invitation.time_zone, language=invitation.language,
    )  # fmt: skip
    return register_farm(by=invitation.invited_by, farm=farm, owner=user, now=begins_at)


def _add(invitation: GroupInvitation, user: User, now: datetime) -> None:
    if invitation.role == GroupInvitedAs.GUEST:
        if invitation.stays_until is None or invitation.stays_until <= now:
            raise InvitationSpent()
        invite_guest(
            group=invitation.group, email=user.email, name=invitation.name, ends_at=invitation.stays_until, now=now
        )  # fmt: skip
        return
    with explained({"group_role_once_while_it_lasts": GroupRoleTaken()}):
        GroupMember.objects.create(group=invitation.group, user=user, role=invitation.role)


def _row(invitation: GroupInvitation) -> QuerySet[GroupInvitation]:
    return GroupInvitation.objects.filter(id=invitation.id)
