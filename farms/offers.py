"""Who would follow an adviser who left, and what is still promised: what is read of them.

A farm's own come through `farms.access` first. A coordinator learns numbers only, by definer functions.
"""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date
from uuid import UUID

from django.contrib.postgres.expressions import ArraySubquery
from django.db import connection
from django.db.models import Exists, OuterRef, Q, QuerySet
from django.db.models.functions import Now

from farms.lookups import array_of
from farms.models import AdviserOffer, ApiToken, Consent, Farm, Group, GroupMember, Membership, OpenPromise, User
from farms.models.access import ConsentKind, FarmRole, GroupRole, TokenScope
from farms.models.offer import OfferAnswer


@dataclass(frozen=True)
class OffersMade:
    """How many farms of an adviser who left stand how: nobody named, or what they said to whom."""

    left: User
    successor: User | None
    begins_on: date | None
    answer: str
    farms: int


@dataclass(frozen=True)
class PromisesOpen:
    """How many promises of a kind and a day nobody has taken over yet."""

    left: User
    kind: str
    day: date
    promises: int


def advisers_here(group: Group) -> QuerySet[GroupMember]:
    """The roles of the group's advisers that last, by name."""
    roles = GroupMember.objects.lasting().filter(group_id=group.id, role=GroupRole.ADVISER)
    return roles.select_related("user").order_by("user__name", "user__email")


def adviser_roles_of(group: Group) -> QuerySet[GroupMember]:
    """The roles of the group's advisers, the ended ones too."""
    return GroupMember.objects.filter(group_id=group.id, role=GroupRole.ADVISER).select_related("user", "group")


def agreed_by_an_owner() -> Exists:
    """A condition on offers: who agreed to whoever follows owns the farm now. Else it takes an owner's yes."""
    owners = Membership.objects.filter(role=FarmRole.OWNER, ended_at__isnull=True, user__is_active=True)
    return Exists(owners.filter(farm_id=OuterRef("farm_id"), user_id=OuterRef("agreed_by_id")))


def all_offers() -> QuerySet[AdviserOffer]:
    """Offers with their people, and whether each `begins_by_itself`."""
    offers = AdviserOffer.objects.select_related("left", "successor", "answered_by")
    return offers.annotate(begins_by_itself=agreed_by_an_owner())  # type: ignore[no-redef]  # declared there


def _with_phones(offers: QuerySet[AdviserOffer]) -> QuerySet[AdviserOffer]:
    """With the names of the farm `phones` that joined by a code of who left and go on counting, oldest first."""
    phones = ApiToken.objects.filter(farm_id=OuterRef("farm_id"), made_by_id=OuterRef("left_id"))
    live = phones.filter(scope=TokenScope.COUNT, revoked_at__isnull=True, expires_at__gt=Now())
    names = ArraySubquery(live.order_by("id").values("name"))
    return offers.annotate(phones=names)  # type: ignore[no-redef]  # declared there


def offers_of(farm: Farm) -> QuerySet[AdviserOffer]:
    """Everybody who was ever named to follow an adviser of the farm, newest first."""
    return all_offers().filter(farm_id=farm.id).order_by("-offered_at", "-id")


def standing_offers(farms: Collection[UUID]) -> QuerySet[AdviserOffer]:
    """The offers to these farms that wait for a word: those that name somebody, and those that can't yet."""
    offers = all_offers().filter(farm_id__any_of=array_of(farms), ended_at__isnull=True)
    return _with_phones(offers.filter(answer=OfferAnswer.NOTHING)).order_by("farm_id", "left_at")


def offers_to_tell(farms: Collection[UUID]) -> QuerySet[AdviserOffer]:
    """The standing offers of these farms, and those that began by themselves, while the farm's yes lasts."""
    lasting = Consent.objects.filter(
        farm_id=OuterRef("farm_id"), adviser_id=OuterRef("successor_id"), kind=ConsentKind.ADVISER,
        withdrawn_at__isnull=True,
    )  # fmt: skip
    wanted = Q(answer=OfferAnswer.NOTHING) | Q(answer=OfferAnswer.BY_ITSELF) & Q(Exists(lasting))
    offers = all_offers().filter(wanted, farm_id__any_of=array_of(farms), ended_at__isnull=True)
    return _with_phones(offers.select_related("farm")).order_by("farm_id", "left_at")


def promises_of(farm: Farm) -> QuerySet[OpenPromise]:
    """What an adviser who left had promised the farm and nobody has taken over, by day."""
    promises = OpenPromise.objects.filter(farm_id=farm.id, taken_at__isnull=True)
    return promises.select_related("left").order_by("day", "id")


def promises_of_farms(farm_ids: Collection[UUID]) -> QuerySet[OpenPromise]:
    """Those of many farms, each farm's by day."""
    promises = OpenPromise.objects.filter(farm_id__any_of=array_of(farm_ids), taken_at__isnull=True)
    return promises.select_related("left").order_by("farm_id", "day", "id")


def offers_of_group(group: Group) -> list[OffersMade]:
    """How the farms of those who left stand; empty for whoever doesn't coordinate the group."""
    rows = _rows("SELECT left_id, successor_id, begins_on, answer, farms FROM offers_of_group(%s)", group)
    users = _users({row[0] for row in rows} | {row[1] for row in rows})
    return [OffersMade(users[left], users.get(follows), *rest) for left, follows, *rest in rows]


def open_promises_of_group(group: Group) -> list[PromisesOpen]:
    """How many promises of those who left are open, by day and kind; empty for whoever doesn't coordinate it."""
    rows = _rows("SELECT left_id, kind, day, promises FROM open_promises_of_group(%s)", group)
    users = _users({row[0] for row in rows})
    return [PromisesOpen(users[left], *rest) for left, *rest in rows]


def _rows(sql: str, group: Group) -> list[tuple]:  # type: ignore[type-arg]
    with connection.cursor() as cursor:
        cursor.execute(sql, [group.id])
        found: list[tuple] = cursor.fetchall()  # type: ignore[type-arg]
        return found


def _users(ids: Collection[UUID | None]) -> dict[UUID | None, User]:
    return {user.id: user for user in User.objects.filter(id__in=[each for each in ids if each])}
