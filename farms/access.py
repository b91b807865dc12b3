"""The only door to a record: an id given by somebody becomes a row here, or an error.

Strangers get "not found"; members without the right get "forbidden". The door decides by itself, without row security,
and row security decides by itself, without the door: two walls.
"""

from dataclasses import dataclass
from enum import StrEnum
from typing import Any, TypeVar
from uuid import UUID

from django.db.models import Model, QuerySet

from farms.errors import Forbidden, Missing
from farms.ledger import Actor
from farms.models import ApiToken, Consent, Farm, Group, GroupMember, Membership, User
from farms.models.access import ConsentKind, FarmRole, GroupRole, TokenScope
from farms.models.chain import ActorKind
from farms.tenancy.keys import FarmRecord

Record = TypeVar("Record", bound=FarmRecord)
Row = TypeVar("Row", bound=Model)
Who = User | ApiToken


class Need(StrEnum):
    """What somebody wants to do on a farm."""

    COUNT = "count"  # see the stations, send rounds and see their result
    READ = "read"  # see everything of the farm
    RECORD = "record"  # note work, skip a round
    MANAGE = "manage"  # stations, facilities, people, phones, seasons, action levels
    OWN = "own"  # consents, tokens, roles


@dataclass(frozen=True)
class Role:
    """A role on a farm: its name, what it may, and what it is called outside the farm."""

    name: str
    may: frozenset[Need]
    actor_kind: ActorKind


RECORDER = Role("recorder", frozenset({Need.COUNT, Need.READ, Need.RECORD}), ActorKind.FARM_STAFF)
OWNER = Role("owner", frozenset(Need), ActorKind.FARM_STAFF)
ADVISER = Role("adviser", frozenset({Need.COUNT, Need.READ, Need.RECORD, Need.MANAGE}), ActorKind.ADVISER)
READER = Role("token:read", frozenset({Need.READ}), ActorKind.PROGRAM)
WRITER = Role("token:write", frozenset({Need.COUNT, Need.READ, Need.RECORD}), ActorKind.PROGRAM)
PHONE = Role("phone", frozenset({Need.COUNT}), ActorKind.PHONE)

FARM_ROLES = {FarmRole.RECORDER: RECORDER, FarmRole.OWNER: OWNER}
_TOKEN_ROLES = {TokenScope.READ: READER, TokenScope.WRITE: WRITER, TokenScope.COUNT: PHONE}


def role_on(who: Who, farm_id: UUID) -> Role | None:
    """The role that somebody has on a farm, or None for a stranger."""
    if isinstance(who, ApiToken):
        return _TOKEN_ROLES[TokenScope(who.scope)] if who.farm_id == farm_id else None
    membership = Membership.objects.filter(farm_id=farm_id, user_id=who.id, ended_at__isnull=True).first()
    if membership is not None:
        return FARM_ROLES[FarmRole(membership.role)]
    return ADVISER if _advises(who, farm_id) else None


def _advises(user: User, farm_id: UUID) -> bool:
    return _advising(user).filter(farm_id=farm_id).exists()


def _advising(user: User) -> QuerySet[Consent]:
    """The consents by which a user advises farms now: given, and the user still an adviser of the farm's group."""
    groups = GroupMember.objects.lasting().filter(user_id=user.id, role=GroupRole.ADVISER)
    consents = Consent.objects.filter(adviser_id=user.id, kind=ConsentKind.ADVISER, withdrawn_at__isnull=True)
    return consents.filter(farm__group_id__in=groups.values("group_id"))


def farm_for(who: Who, farm_id: UUID, *, needs: Need = Need.READ) -> Farm:
    """The farm with this id, if `who` may do there what is needed. Raises Missing or Forbidden."""
    return let_in(who, farm_id, needs=needs)[0]


def let_in(who: Who, farm_id: UUID, *, needs: Need = Need.READ) -> tuple[Farm, Role]:
    """The same farm, and the role by which `who` was let in."""
    role = role_on(who, farm_id)
    if role is None:
        raise Missing()
    if needs not in role.may:
        raise Forbidden()
    farm = Farm.objects.select_related("group", "region", "holding").filter(id=farm_id).first()
    if farm is None:
        raise Missing()
    return farm, role


def may_locate(who: Who) -> bool:
    """Whether somebody let in may know where a farm's barns stand: its people and its advisers, never a key."""
    return isinstance(who, User)


def record_of(farm: Farm, model: type[Record], record_id: UUID) -> Record:
    """A record of a farm already let in by `farm_for`, by its id. Raises Missing."""
    manager: Any = model._default_manager
    found: Record | None = manager.filter(farm_id=farm.id, id=record_id).first()
    if found is None:
        raise Missing()
    return found


def one_of(records: QuerySet[Row], record_id: UUID) -> Row:
    """One of the records that a selector gave for a farm or group already let in. Raises Missing."""
    found = records.filter(id=record_id).first()
    if found is None:
        raise Missing()
    return found


def farms_of(who: Who) -> QuerySet[Farm]:
    """Every farm that somebody may read, by name."""
    farms = Farm.objects.select_related("group", "region", "holding").order_by("name", "id")
    if isinstance(who, ApiToken):
        return farms.filter(id=who.farm_id)
    own = Membership.objects.filter(user_id=who.id, ended_at__isnull=True).values("farm_id")
    return farms.filter(id__in=own) | farms.filter(id__in=_advising(who).values("farm_id"))


def roles_of(who: Who) -> list[tuple[Farm, Role]]:
    """Every farm that somebody may read, by name, with their role there. Two queries, however many farms."""
    farms = list(farms_of(who))
    if isinstance(who, ApiToken):
        return [(farm, role) for farm in farms if (role := role_on(who, farm.id)) is not None]
    own = Membership.objects.filter(user_id=who.id, ended_at__isnull=True).values_list("farm_id", "role")
    roles = {farm_id: FARM_ROLES[FarmRole(role)] for farm_id, role in own}
    return [(farm, roles.get(farm.id, ADVISER)) for farm in farms]


def group_for(who: Who, group_id: UUID, *, role: GroupRole | None = None) -> Group:
    """The group with this id for its members (of a role, where one is asked). Raises Missing or Forbidden.

    Its guests are no members: they read region reports.
    """
    if isinstance(who, ApiToken):
        raise Missing()
    lasting = GroupMember.objects.lasting().filter(user_id=who.id, group_id=group_id)
    roles = set(lasting.exclude(role=GroupRole.GUEST).values_list("role", flat=True))
    if not roles and not farms_of(who).filter(group_id=group_id).exists():
        raise Missing()
    if role is not None and role not in roles:
        raise Forbidden()
    return Group.objects.get(id=group_id)


def group_kept_by(who: Who, group_id: UUID) -> Group:
    """The group for whoever keeps its lists: its advisers and its coordinators. Raises Missing or Forbidden."""
    try:
        return group_for(who, group_id, role=GroupRole.COORDINATOR)
    except Forbidden:
        return group_for(who, group_id, role=GroupRole.ADVISER)


def watched_group(who: Who, group_id: UUID) -> Group:
    """A group for whoever watches how its checks run: its coordinators, and the office, who sees no farm by it."""
    if isinstance(who, User) and who.is_staff:
        found = Group.objects.filter(id=group_id).first()
        if found is not None:
            return found
    return group_for(who, group_id, role=GroupRole.COORDINATOR)


def actor_on(who: Who, farm_id: UUID) -> Actor:
    """How somebody is named in the farm's log."""
    role = role_on(who, farm_id)
    return Actor(role.actor_kind if role else ActorKind.SERVICE, who.id)
