"""Invitations to a farm by mail: made, sent again, taken back, accepted.

Accepting is done acting for whoever invited: a person who may not invite any more has invited nobody.
"""

from datetime import datetime

from django.db import transaction
from django.db.models import QuerySet
from django.utils.translation import gettext_lazy as _

from farms.access import Need, actor_on, role_on
from farms.constraints import explained
from farms.errors import Forbidden
from farms.ledger import lock_heads
from farms.models import Farm, Invitation, Membership, User
from farms.models.access import FarmRole
from farms.models.invitation import WAITS
from farms.models.log import LogKind
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
from farms.services.log import note_in_log
from farms.services.membership import AlreadyMember, FarmRoleUnknown, add_member
from farms.tenancy.acting import meanwhile_for_user

MOST_WAITING = 20
# Who gives away the farm's data and its roles must own it; a recorder may be invited by its adviser, too.
NEEDED = {FarmRole.OWNER.value: Need.OWN, FarmRole.RECORDER.value: Need.MANAGE}


class OnlyOwnersInviteOwners(Forbidden):
    code = "only_owners_invite_owners"
    message = _("Only an owner of the farm can invite another owner. Invite a recorder, or ask the owner.")


@transaction.atomic
def invite_to_farm(*, farm: Farm, invited: Invitee, by: User, now: datetime) -> tuple[Invitation, str]:
    """An invitation and the key of its address, told here and never again.

    Raises Invalid, OnlyOwnersInviteOwners, AlreadyMember, InvitedAlready or TooManyInvitations.
    """
    columns = invited.columns()
    refuse(invited.faults())
    _check_right(farm, invited.role, by)
    # The head is the farm's lock: two who invite at once make no more than may wait.
    lock_heads([farm.id])
    if Membership.objects.filter(farm_id=farm.id, user__email=columns["email"], ended_at__isnull=True).exists():
        raise AlreadyMember(pointer="/email")
    make_room(Invitation.objects.filter(farm_id=farm.id), MOST_WAITING, now)
    key, fresh_columns = fresh(now)
    with explained({"invitation_once_while_it_waits": InvitedAlready(pointer="/email")}):
        made = Invitation.objects.create(farm=farm, invited_by=by, made_at=now, **columns, **fresh_columns)
    _note(made, LogKind.INVITED, by, now)
    return made, key


@transaction.atomic
def send_invitation_again(*, invitation: Invitation, by: User, now: datetime) -> str:
    """A new key for two more weeks; the one before opens nothing any more. Raises InvitationDone or Forbidden."""
    _check_right(invitation.farm, invitation.role, by)
    key = renew(_row(invitation), by, now)
    _note(invitation, LogKind.INVITED_AGAIN, by, now)
    return key


@transaction.atomic
def withdraw_invitation(*, invitation: Invitation, by: User, now: datetime) -> None:
    """Take an invitation back; a second time changes nothing."""
    if _row(invitation).filter(WAITS).update(withdrawn_at=now):
        _note(invitation, LogKind.INVITATION_WITHDRAWN, by, now)


def accept_invitation(*, invitation: Invitation, user: User, now: datetime, begins_at: datetime) -> Farm:
    """Give the invited person the role; afterwards row security acts for whom it did before.

    `now` is real time, by which keys live, `begins_at` the service's, by which roles do. Raises InvitationSpent,
    InvitedElsewhere or AlreadyMember.
    """
    if user.email != invitation.email:
        raise InvitedElsewhere()
    by = invitation.invited_by
    with meanwhile_for_user(by.id):
        if not may_invite(by, invitation) or not use_up(_row(invitation), user, now):
            raise InvitationSpent()
        add_member(farm=invitation.farm, user=user, role=invitation.role, by=by, now=begins_at)
    return invitation.farm


def may_invite(by: User, invitation: Invitation) -> bool:
    """Whether whoever invited still has the right to."""
    role = role_on(by, invitation.farm_id)
    return role is not None and NEEDED[invitation.role] in role.may


def _check_right(farm: Farm, role: str, by: User) -> None:
    if role not in NEEDED:
        raise FarmRoleUnknown(pointer="/role")
    own = role_on(by, farm.id)
    if own is None or NEEDED[role] not in own.may:
        raise OnlyOwnersInviteOwners()


def _row(invitation: Invitation) -> QuerySet[Invitation]:
    return Invitation.objects.filter(farm_id=invitation.farm_id, id=invitation.id)


def _note(invitation: Invitation, kind: LogKind, by: User, now: datetime) -> None:
    actor = actor_on(by, invitation.farm_id)
    note_in_log(farm=invitation.farm, kind=kind, actor=actor, now=now, about=invitation.role)
