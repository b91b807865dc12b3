"""Who belongs to a farm, as recorder or owner."""

from datetime import datetime

from django.db import transaction
from django.utils.translation import gettext_lazy as _

from farms.access import actor_on
from farms.constraints import explained
from farms.errors import Conflict, Invalid
from farms.ledger import lock_heads
from farms.models import Farm, Membership, User
from farms.models.access import FarmRole
from farms.models.log import LogKind
from farms.services.log import note_in_log


class AlreadyMember(Conflict):
    code = "already_member"
    message = _("This person already has a role on the farm. End that one before giving another.")


class LastOwner(Conflict):
    code = "last_owner"
    message = _("A farm needs an owner. Make somebody else an owner first.")


class FarmRoleUnknown(Invalid):
    code = "farm_role_unknown"
    message = _("There is no such role on a farm. Choose recorder or owner.")


def add_member(*, farm: Farm, user: User, role: str, by: User, now: datetime) -> Membership:
    """Give a user a role on a farm. Raises FarmRoleUnknown or AlreadyMember."""
    if role not in FarmRole.values:
        raise FarmRoleUnknown(pointer="/role")
    with explained({"membership_once_while_it_lasts": AlreadyMember()}):
        membership = Membership.objects.create(farm=farm, user=user, role=role, began_at=now)
    actor = actor_on(by, farm.id)
    note_in_log(farm=farm, kind=LogKind.MEMBER_ADDED, actor=actor, now=now, about=_about(membership))
    return membership


@transaction.atomic
def end_membership(*, membership: Membership, by: User, now: datetime) -> Membership:
    """End a role; a second time changes nothing. Raises LastOwner."""
    # The head is the farm's lock: two owners who leave at the same moment would leave nobody.
    lock_heads([membership.farm_id])
    membership.refresh_from_db()
    if membership.ended_at is not None:
        return membership
    lasting = Membership.objects.filter(farm_id=membership.farm_id, ended_at__isnull=True)
    others = lasting.exclude(id=membership.id).filter(role=FarmRole.OWNER)
    if membership.role == FarmRole.OWNER and not others.exists():
        raise LastOwner()
    # The note first: who gives up their own role may write nothing on the farm after the change.
    actor = actor_on(by, membership.farm_id)
    note_in_log(farm=membership.farm, kind=LogKind.MEMBER_ENDED, actor=actor, now=now, about=_about(membership))
    lasting.filter(id=membership.id).update(ended_at=now)
    membership.ended_at = now
    return membership


def _about(membership: Membership) -> str:
    return f"{membership.role} {membership.user_id}"
