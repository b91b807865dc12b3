"""Invitations as they are read: the lists of a farm and a group, and the one that an address opens."""

from dataclasses import dataclass
from datetime import datetime

from django.db import connection
from django.db.models import QuerySet

from farms.access import OWNER
from farms.credentials import key_hash
from farms.models import Farm, Group, GroupInvitation, Invitation, User
from farms.models.invitation import WAITS
from farms.selectors import farms_with_roles
from farms.services import group_invitation, hand_over, invitation
from farms.services.inviting import InvitationSpent
from farms.tenancy.acting import meanwhile_for_user


@dataclass(frozen=True)
class Opened:
    """What an address opens: the invitation, and the name of the place that it is to."""

    invitation: Invitation | GroupInvitation
    place: str
    by: User

    def accept(self, user: User, *, now: datetime, begins_at: datetime) -> Farm | None:
        """What the services of either kind do; the farm that the person is on now, None for a role in a group."""
        if isinstance(self.invitation, GroupInvitation):
            return group_invitation.accept_group_invitation(
                invitation=self.invitation, user=user, now=now, begins_at=begins_at
            )  # fmt: skip
        return invitation.accept_invitation(invitation=self.invitation, user=user, now=now, begins_at=begins_at)

    def bring(self, farm: Farm, user: User, *, now: datetime, begins_at: datetime) -> hand_over.HandedOver:
        """Bring a farm of one's own into the group, in place of beginning one there."""
        if not isinstance(self.invitation, GroupInvitation):
            raise InvitationSpent()
        return hand_over.hand_farm_over(
            invitation=self.invitation, farm=farm, user=user, now=now, begins_at=begins_at
        )  # fmt: skip


def farms_to_bring(opened: Opened, user: User) -> list[Farm]:
    """The farms of other groups that somebody owns, where the invitation is to begin a farm in its group."""
    if not isinstance(opened.invitation, GroupInvitation) or not opened.invitation.is_to_a_farm:
        return []
    group = opened.invitation.group_id
    return [farm for farm, role in farms_with_roles(user) if role is OWNER and farm.group_id != group]


def invitations_of(farm: Farm) -> QuerySet[Invitation]:
    """The farm's invitations that wait, the newest first."""
    here = Invitation.objects.filter(WAITS, farm_id=farm.id)
    return here.select_related("invited_by", "farm").order_by("-made_at", "-id")


def invitations_of_group(group: Group) -> QuerySet[GroupInvitation]:
    """The group's invitations that wait, the newest first."""
    here = GroupInvitation.objects.filter(WAITS, group_id=group.id)
    return here.select_related("invited_by", "group", "region").order_by("-made_at", "-id")


def invitation_by_key(key: str, now: datetime) -> Opened | None:
    """The invitation that a key opens now; None for a wrong, used, withdrawn or ended one, at the same cost."""
    hashed = key_hash(key)
    waiting = GroupInvitation.objects.filter(WAITS, key_hash=hashed)
    found = waiting.filter(expires_at__gt=now).select_related("group", "invited_by", "region").first()
    with connection.cursor() as cursor:
        cursor.execute("SELECT farm_id, invitation_id, invited_by FROM find_invitation(%s)", [hashed])
        named = cursor.fetchone()
    if found is not None:
        place = found.farm_name or found.group.name
        return Opened(found, place, found.invited_by) if group_invitation.may_invite(found) else None
    if named is None:
        return None
    farm_id, invitation_id, by = named
    # What it says is a farm's: whoever invited may see it, as long as they may invite.
    with meanwhile_for_user(by):
        rows = Invitation.objects.select_related("farm", "invited_by").filter(farm_id=farm_id, id=invitation_id)
        row = rows.first()
        if row is None or not invitation.may_invite(row.invited_by, row):
            return None
        return Opened(row, row.farm.name, row.invited_by)


def farms_begun_in(group: Group) -> int:
    """How many farms of the group began by an owner's yes to an invitation. A number only: no farm is seen by it."""
    return GroupInvitation.objects.filter(group_id=group.id, role="owner", accepted_at__isnull=False).count()
