"""A farm goes to another group: its owner's yes to that group's invitation. Whoever the farm let in stays behind.

Its records, people, phones and levels of its own go with it. Its consents end, and with them the comparison in the
region it leaves, which gives words only until its quarter ends (monitoring/regional/cohort.py). Keys that an adviser of
the group before made for programs are switched off, as where an adviser leaves (farms/services/adviser.py). What it
accepted of the data agreement was said to the group before, and doesn't hold for the next (farms/agreement.py).
"""

from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from django.db import connection, transaction
from django.db.models import QuerySet
from django.utils.translation import gettext_lazy as _

from farms.access import OWNER, actor_on, role_on
from farms.agreement import HANDED_OVER
from farms.constraints import explained
from farms.errors import Conflict, Forbidden
from farms.ledger import append, lock_heads
from farms.models import AdviserOffer, ApiToken, Consent, Farm, GroupInvitation, Holding, Membership, OpenPromise, User
from farms.models.access import TokenScope
from farms.models.invitation import GroupInvitedAs
from farms.models.log import LogKind
from farms.services.consent import withdraw_consent
from farms.services.farm import FarmNameTaken
from farms.services.inviting import InvitationSpent, InvitedElsewhere, use_up
from farms.services.log import note_in_log
from farms.services.token import revoke_token


class FarmOfThisGroup(Conflict):
    code = "farm_of_this_group"
    message = _("That farm belongs to this group already. Choose another farm, or begin a new one.")


@dataclass(frozen=True)
class HandedOver:
    """A farm that went to another group, that it came from, and the advisers who see it no more."""

    farm: Farm
    group_before: str
    advisers: tuple[User, ...]


@transaction.atomic
def hand_farm_over(
    *, invitation: GroupInvitation, farm: Farm, user: User, now: datetime, begins_at: datetime
) -> HandedOver:
    """Bring one's own farm into the group that invited its owner, in place of beginning a new one there.

    `now` is real time, by which keys live, `begins_at` the service's. Row security acts for `user`. Raises
    InvitedElsewhere, InvitationSpent, Forbidden (no owner), FarmOfThisGroup or FarmNameTaken.
    """
    if user.email != invitation.email:
        raise InvitedElsewhere()
    if invitation.role != GroupInvitedAs.OWNER:
        raise InvitationSpent()
    if role_on(user, farm.id) is not OWNER:
        raise Forbidden()
    if farm.group_id == invitation.group_id:
        raise FarmOfThisGroup()
    before = farm.group.name
    # First of all: a consent that is given at this moment is found below, or waits.
    lock_heads([farm.id])
    advisers = _end_consents(farm, user, begins_at)
    _switch_keys_off(farm, user, begins_at)
    _end_what_was_offered(farm, user, begins_at)
    actor = actor_on(user, farm.id)
    append(lock_heads([farm.id])[farm.id], kind=HANDED_OVER, actor=actor, row_hashes=[], now=begins_at)
    note_in_log(farm=farm, kind=LogKind.HANDED_OVER, actor=actor, now=begins_at, about=invitation.group.name)
    _move(farm, invitation)
    if not use_up(GroupInvitation.objects.filter(id=invitation.id), user, now):
        raise InvitationSpent()
    farm.refresh_from_db()
    return HandedOver(farm, before, advisers)


def _end_consents(farm: Farm, user: User, now: datetime) -> tuple[User, ...]:
    """Nobody comes along. Returns the advisers whom the farm had let in."""
    lasting = Consent.objects.filter(farm_id=farm.id, withdrawn_at__isnull=True).select_related("adviser", "farm")
    ended = [withdraw_consent(consent=consent, by=user, now=now) for consent in lasting.order_by("id")]
    return tuple(consent.adviser for consent in ended if consent.adviser is not None)


def _switch_keys_off(farm: Farm, user: User, now: datetime) -> None:
    """Programs' keys behind which nobody of the farm stands."""
    programs = ApiToken.objects.filter(
        farm_id=farm.id, revoked_at__isnull=True, scope__in=(TokenScope.READ, TokenScope.WRITE)
    )
    for key in programs.exclude(made_by_id__in=_members(farm.id)).select_related("farm"):
        revoke_token(token=key, by=user, now=now)


def _members(farm_id: UUID) -> QuerySet[Membership, UUID]:
    return Membership.objects.filter(farm_id=farm_id, ended_at__isnull=True).values_list("user_id", flat=True)


def _end_what_was_offered(farm: Farm, user: User, now: datetime) -> None:
    """Who would follow an adviser of the group before, and what that one promised, is nothing of the next group's."""
    AdviserOffer.objects.filter(farm_id=farm.id, ended_at__isnull=True).update(ended_at=now)
    promised = OpenPromise.objects.filter(farm_id=farm.id, taken_at__isnull=True)
    promised.update(taken_by=user, taken_at=now)


def _move(farm: Farm, invitation: GroupInvitation) -> None:
    """By a definer function, which asks all of this again: no member may write a farm's group."""
    holding, _made = Holding.objects.get_or_create(group=invitation.group, name=invitation.holding_name)
    with explained({"farm_name_once_in_holding": FarmNameTaken()}), connection.cursor() as cursor:
        cursor.execute("SELECT move_farm(%s, %s, %s)", [farm.id, invitation.id, holding.id])
        if cursor.fetchone() != (True,):
            raise InvitationSpent()
