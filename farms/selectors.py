"""What is read on the ground floor. Ids given by somebody come through `farms.access` first."""

from collections.abc import Collection, Iterable
from datetime import date, datetime
from uuid import UUID

from django.db import connection
from django.db.models import Exists, OuterRef, Q, QuerySet

from farms.access import ADVISER, FARM_ROLES, Role, farms_of, one_of
from farms.credentials import key_hash
from farms.lookups import array_of
from farms.models import (
    ApiToken,
    Consent,
    Facility,
    Farm,
    FeedAddress,
    Group,
    GroupMember,
    LedgerHead,
    LogEvent,
    Membership,
    Person,
    Region,
    Season,
    User,
)
from farms.models.access import ConsentKind, FarmRole, GroupRole
from farms.tenancy.acting import act_for_token, act_for_user


def farms_with_roles(user: User) -> list[tuple[Farm, Role]]:
    """Every farm that a user may see, by name, with the role there. Three queries, however many farms."""
    own = Membership.objects.filter(user_id=user.id, ended_at__isnull=True).values_list("farm_id", "role")
    roles = {farm_id: FARM_ROLES[FarmRole(role)] for farm_id, role in own}
    return [(farm, roles.get(farm.id, ADVISER)) for farm in farms_of(user)]


def owns_a_farm(user: User) -> bool:
    """Whether a user is an owner of any farm now."""
    return Membership.objects.filter(user_id=user.id, role=FarmRole.OWNER, ended_at__isnull=True).exists()


def facilities_of(farm: Farm) -> QuerySet[Facility]:
    """In walking order."""
    return Facility.objects.filter(farm_id=farm.id).order_by("position", "name")


def season_on(farm: Farm, day: date) -> Season | None:
    """The season that holds a local day, or None."""
    seasons = Season.objects.filter(
        Q(closes_on__isnull=True) | Q(closes_on__gte=day), farm_id=farm.id, opens_on__lte=day
    )
    return seasons.order_by("-opens_on").first()


def season_holding(seasons: Iterable[Season], day: date) -> Season | None:
    """The one of a farm's seasons, newest first, that holds a local day, or None; no query."""
    return next((each for each in seasons if each.opens_on <= day <= (each.closes_on or date.max)), None)


def seasons_of(farm: Farm) -> QuerySet[Season]:
    """Every season of the farm, newest first."""
    return Season.objects.filter(farm_id=farm.id).order_by("-opens_on")


def season_asked(farm: Farm, season_id: UUID | None, on: date) -> Season | None:
    """The season asked for, else the newest that has begun on a day. Raises Missing."""
    seasons = seasons_of(farm)
    return one_of(seasons, season_id) if season_id else seasons.filter(opens_on__lte=on).first()


def people_of(farm: Farm) -> QuerySet[Person]:
    """Who counts there now, by name."""
    return Person.objects.filter(farm_id=farm.id, ended_at__isnull=True).order_by("name", "id")


def people_of_farms(farm_ids: Collection[UUID]) -> QuerySet[Person]:
    """Those of many farms, by name."""
    people = Person.objects.filter(farm_id__any_of=array_of(farm_ids), ended_at__isnull=True)
    return people.order_by("name", "id")


def members_of(farm: Farm) -> QuerySet[Membership]:
    """The roles that last, with their users, by name."""
    members = Membership.objects.filter(farm_id=farm.id, ended_at__isnull=True)
    return members.select_related("user").order_by("user__name", "user__email")


def consents_of(farm: Farm) -> QuerySet[Consent]:
    """What the farm has agreed to, the ended ones too, newest first."""
    return Consent.objects.filter(farm_id=farm.id).select_related("adviser", "given_by").order_by("-given_at", "-id")


def tokens_of(farm: Farm) -> QuerySet[ApiToken]:
    """Keys and farm phones, the ended ones too, newest first."""
    return ApiToken.objects.filter(farm_id=farm.id).select_related("made_by").order_by("-made_at", "-id")


def chain_number(farm: Farm) -> int:
    """How many entries the farm's chain has: everything they brought can be read."""
    return LedgerHead.objects.values_list("number", flat=True).get(farm_id=farm.id)


def log_of(farm: Farm, *, kind: str | None = None, since: datetime | None = None) -> QuerySet[LogEvent]:
    """The farm's own log, newest first; of one kind, or from a moment on."""
    wanted = Q(farm_id=farm.id)
    wanted &= Q(kind=kind) if kind else Q()
    wanted &= Q(at__gte=since) if since else Q()
    return LogEvent.objects.filter(wanted).order_by("-at", "-id")


def names_in_log(farm: Farm, ids: Collection[UUID]) -> dict[UUID, str]:
    """What people, keys and farm phones of a farm's log are called now, by their ids."""
    users = User.objects.filter(id__in=ids)
    tokens = ApiToken.objects.filter(farm_id=farm.id, id__in=ids)
    return {each.id: str(each) for each in users} | dict(tokens.values_list("id", "name"))


def group_roles_of(user: User) -> QuerySet[GroupMember]:
    """What a user is in which group, the coordinator's roles first. Sees no farm by it. A guest's are apart."""
    roles = GroupMember.objects.lasting().filter(user_id=user.id).exclude(role=GroupRole.GUEST)
    return roles.select_related("group").order_by("-role", "group__name", "id")


def guest_roles_of(user: User) -> QuerySet[GroupMember]:
    """The groups whose region reports a user reads as a guest now."""
    roles = GroupMember.objects.lasting().filter(user_id=user.id, role=GroupRole.GUEST)
    return roles.select_related("group").order_by("group__name", "id")


def guests_of(group: Group) -> QuerySet[GroupMember]:
    """The group's guests, the ended ones too, the latest end first."""
    guests = GroupMember.objects.filter(group_id=group.id, role=GroupRole.GUEST)
    return guests.select_related("user").order_by("-ends_at", "-id")


def regions_of(group: Group) -> QuerySet[Region]:
    """The group's regions, by name."""
    return Region.objects.filter(group_id=group.id).order_by("name")


def regions_open_to(user: User) -> QuerySet[Region]:
    """The regions whose reports a user may read: their own ones, and those of groups whose guest they are."""
    return _regions(_own_groups(user) | Q(group_id__in=guest_roles_of(user).values("group_id")))


def own_regions_of(user: User) -> QuerySet[Region]:
    """The regions of a user's groups, and of the groups of the farms they may see."""
    return _regions(_own_groups(user))


def _own_groups(user: User) -> Q:
    by_role = Q(group_id__in=group_roles_of(user).values("group_id"))
    return by_role | Q(group_id__in=farms_of(user).values("group_id"))


def _regions(wanted: Q) -> QuerySet[Region]:
    return Region.objects.filter(wanted).select_related("group").order_by("name", "id")


def token_by_key(key: str, now: datetime) -> ApiToken | None:
    """The live token of a key, or None. From here to the end of the transaction row security acts for that token."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT farm_id, token_id FROM find_token(%s)", [key_hash(key)])
        found = cursor.fetchone()
    if found is None:
        return None
    act_for_token(*found)
    token = ApiToken.objects.select_related("farm", "made_by").filter(farm_id=found[0], id=found[1]).first()
    return token if token is not None and token.is_live(now) else None


def active_user(user_id: UUID) -> User | None:
    """A person by their id, None where there is none who can sign in."""
    return User.objects.filter(id=user_id, is_active=True).first()


def user_by_address(address: str) -> User | None:
    """The person who has this e-mail address."""
    return User.objects.filter(email=address.strip().lower()).first()


def feeds_of(user: User) -> QuerySet[FeedAddress]:
    """A person's feed addresses, the ended ones too, newest first."""
    return FeedAddress.objects.filter(user_id=user.id).order_by("-made_at", "-id")


def feed_by_key(key: str, kind: str) -> FeedAddress | None:
    """The feed of a kind that has this key, with its person; None for an ended one, or where the person is inactive."""
    feeds = FeedAddress.objects.filter(key_hash=key_hash(key), kind=kind, revoked_at__isnull=True)
    return feeds.filter(user__is_active=True).select_related("user").first()


def who_sent(*, farm_id: UUID, user_id: UUID | None, token_id: UUID | None, now: datetime) -> User | ApiToken | None:
    """Who sent something a while ago, by the id of the person or of the token, if they may still come in at all.

    From here to the end of the transaction row security acts for them. `now` is the real time: a token's life is.
    """
    if user_id is not None:
        act_for_user(user_id)
        return User.objects.filter(id=user_id, is_active=True).first()
    if token_id is None:
        return None
    act_for_token(farm_id, token_id)
    token = ApiToken.objects.filter(farm_id=farm_id, id=token_id).first()
    return token if token is not None and token.is_live(now) else None


def farms_of_group(group_id: UUID) -> QuerySet[Farm]:
    """A group's farms in the order of their ids, for the weekly check."""
    return Farm.objects.filter(group_id=group_id).order_by("id")


def season_spans_of_group(group_id: UUID) -> list[tuple[date, date | None]]:
    """The different spans (first day, last day or None) of all seasons in a group."""
    spans = Season.objects.filter(farm__group_id=group_id).values_list("opens_on", "closes_on")
    return list(spans.order_by("opens_on", "closes_on").distinct())


def season_spans_by_group() -> dict[UUID, list[tuple[date, date | None]]]:
    """The different spans of seasons of every group. One query, however many groups."""
    found: dict[UUID, list[tuple[date, date | None]]] = {}
    spans = Season.objects.order_by().values_list("farm__group_id", "opens_on", "closes_on").distinct()
    for group_id, opens_on, closes_on in spans:
        found.setdefault(group_id, []).append((opens_on, closes_on))
    return found


def farms_of_groups(group_ids: Collection[UUID]) -> QuerySet[Farm]:
    """The farms of many groups, in no order."""
    return Farm.objects.filter(group_id__any_of=array_of(group_ids)).order_by()


def owned_since_before(column: str) -> Exists:
    """A condition on farms: whom a mail can reach has owned it from before the moment in a column on."""
    return Exists(owners_to_write_to("id").filter(began_at__lte=OuterRef(column)))


def owners_to_write_to(column: str) -> QuerySet[Membership]:
    """For conditions on farms: the owners, whom a mail can reach, of the farm whose id is in a column."""
    owners = Membership.objects.filter(farm_id=OuterRef(column), role=FarmRole.OWNER, ended_at__isnull=True)
    return owners.filter(_HAS_ADDRESS, user__is_active=True).order_by()


def seasons_of_farms(farm_ids: Collection[UUID]) -> QuerySet[Season]:
    """The seasons of many farms, each farm's in order."""
    return Season.objects.filter(farm_id__any_of=array_of(farm_ids)).order_by("farm_id", "opens_on")


def in_season(first: date, last: date) -> Exists:
    """A condition on farms: a season of theirs has a day among these."""
    still_open = Q(closes_on__isnull=True) | Q(closes_on__gte=first)
    return Exists(Season.objects.filter(still_open, farm_id=OuterRef("id"), opens_on__lte=last))


def owners_of_farms(farm_ids: Collection[UUID]) -> QuerySet[Membership]:
    """The owners of many farms, with their users; those who can't sign in any more are left out."""
    owners = Membership.objects.filter(farm_id__any_of=array_of(farm_ids), role=FarmRole.OWNER, ended_at__isnull=True)
    return owners.filter(user__is_active=True).select_related("user").order_by("farm_id", "user_id")


# Nothing is delivered to a name under it: how an owner without an address is registered (RFC 6761, section 6.4).
NOWHERE = ".invalid"


def owners_with_address(farm_ids: Collection[UUID]) -> QuerySet[Membership]:
    """Those of the owners of many farms to whom a mail can arrive anywhere."""
    return owners_of_farms(farm_ids).filter(_HAS_ADDRESS)


_HAS_ADDRESS = Q(user__email__contains="@") & ~Q(user__email__endswith=NOWHERE)


def advisers_of_group(group_id: UUID) -> QuerySet[User]:
    """The group's advisers who can sign in."""
    roles = GroupMember.objects.lasting().filter(group_id=group_id, role=GroupRole.ADVISER)
    return User.objects.filter(is_active=True, id__in=roles.values("user_id")).order_by("id")


def coordinators_of_group(group_id: UUID) -> QuerySet[User]:
    """The group's coordinators who can sign in."""
    roles = GroupMember.objects.lasting().filter(group_id=group_id, role=GroupRole.COORDINATOR)
    return User.objects.filter(is_active=True, id__in=roles.values("user_id")).order_by("id")


def advised_farms(user: User) -> QuerySet[Farm]:
    """The farms whose consent names this adviser, whoever else may see them, by name."""
    consents = Consent.objects.filter(adviser_id=user.id, kind=ConsentKind.ADVISER, withdrawn_at__isnull=True)
    roles = GroupMember.objects.lasting().filter(user_id=user.id, role=GroupRole.ADVISER)
    # Read first, for row security looks each farm up among all of a reader's: as a condition on this query, 300 times.
    named = array_of(consents.values_list("farm_id", flat=True))
    farms = Farm.objects.select_related("group", "region").filter(id__any_of=named)
    return farms.filter(group_id__in=roles.values("group_id")).order_by("name", "id")


def withdrew_since(adviser_id: UUID, moment: datetime) -> bool:
    """Whether any farm has ended its consent to an adviser since a moment."""
    return Consent.objects.filter(adviser_id=adviser_id, withdrawn_at__gte=moment).exists()


def groups() -> QuerySet[Group]:
    """Every group, for the weekly check."""
    return Group.objects.order_by("id")


def facilities_of_farms(farm_ids: Collection[UUID]) -> QuerySet[Facility]:
    """The facilities of many farms, each farm's in walking order."""
    return Facility.objects.filter(farm_id__in=farm_ids).order_by("farm_id", "position", "name")
