"""Which mails somebody gets by their roles, and how often they chose to."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING
from uuid import UUID

from alerts.models import (
    ChoiceKey,
    CoordinatorReportChoice,
    DigestChoice,
    MondayListChoice,
    RegionBulletinChoice,
)
from alerts.models.mail_choice import HowOften, MailKind
from farms.access import OWNER
from farms.errors import Missing
from farms.selectors import farms_with_roles, group_roles_of, regions_open_to

if TYPE_CHECKING:
    from farms.models import Farm, Group, Region, User

Choice = DigestChoice | MondayListChoice | CoordinatorReportChoice | RegionBulletinChoice
OF_GROUPS = (MailKind.MONDAY_LIST, MailKind.COORDINATOR_REPORT)


@dataclass(frozen=True)
class Subscription:
    """A mail that somebody gets by their role: of which farm, group or region, how often, and since when.

    `chosen_at` is None where nothing was chosen: every week then, but for a bulletin, which comes to who asked for it.
    """

    kind: MailKind
    about: "Farm | Group | Region"
    how_often: HowOften = HowOften.EVERY_WEEK
    chosen_at: datetime | None = None

    @property
    def farm_id(self) -> UUID | None:
        return self.about.id if self.kind == MailKind.DIGEST else None

    @property
    def group_id(self) -> UUID | None:
        return self.about.id if self.kind in OF_GROUPS else None

    @property
    def region_id(self) -> UUID | None:
        return self.about.id if self.kind == MailKind.REGION_BULLETIN else None

    @property
    def name(self) -> str:
        return self.about.name


def subscriptions_of(user: "User") -> list[Subscription]:
    """Digests of the farms that a user owns, by name, then lists of the groups that they advise for, then reports of
    those that they coordinate, then bulletins of the regions of which they ever asked for one.
    """
    farms = [farm for farm, role in farms_with_roles(user) if role == OWNER]
    roles = list(group_roles_of(user))
    groups = [role.group for role in roles if role.role == "adviser"]
    coordinated = [role.group for role in roles if role.role == "coordinator"]
    digests = digest_choices(user.id, [farm.id for farm in farms])
    lists = list_choices(user.id, [group.id for group in groups])
    reports = report_choices(user.id, [group.id for group in coordinated])
    return [
        *(_subscription(MailKind.DIGEST, farm, digests) for farm in farms),
        *(_subscription(MailKind.MONDAY_LIST, group, lists) for group in groups),
        *(_subscription(MailKind.COORDINATOR_REPORT, group, reports) for group in coordinated),
        *_bulletins(user),
    ]


def _bulletins(user: "User", region_ids: Collection[UUID | None] | None = None) -> list[Subscription]:
    """How often somebody wants the bulletins of these regions, or of those of which they ever chose; of open ones."""
    chosen = bulletin_choices(user.id)
    asked = chosen if region_ids is None else [each for each in region_ids if each]
    regions = regions_open_to(user).filter(id__in=list(asked))
    return [_subscription(MailKind.REGION_BULLETIN, region, chosen) for region in regions]


def bulletin_of(user: "User", region: "Region") -> Subscription:
    """How often somebody wants the bulletin of a region that is open to them: not at all until they ask for it."""
    return _subscription(MailKind.REGION_BULLETIN, region, bulletin_choices(user.id))


def subscription_for(user: "User", kind: str, about_id: UUID | None) -> Subscription:
    """The mail of a kind that a user gets of this farm or group. Raises Missing."""
    return subscriptions_for(user, kind, [about_id])[0]


def subscriptions_for(user: "User", kind: str, about_ids: Collection[UUID | None]) -> list[Subscription]:
    """The mails of a kind that a user still gets of these farms or groups. Raises Missing where there is none."""
    if kind == MailKind.REGION_BULLETIN:
        found = _bulletins(user, about_ids)
    else:
        found = [each for each in subscriptions_of(user) if each.kind == kind and each.about.id in about_ids]
    if not found:
        raise Missing()
    return found


def digests_in_group(user: "User", group_id: UUID | None) -> list[Subscription]:
    """The digests of all farms that a user owns in a group, by name. Raises Missing where there is none."""
    digests = [each for each in subscriptions_of(user) if each.kind == MailKind.DIGEST]
    found = [each for each in digests if each.about.group_id == group_id]  # type: ignore[union-attr]  # a farm's
    if not found:
        raise Missing()
    return found


def _subscription(kind: MailKind, about: "Farm | Group | Region", choices: "Mapping[UUID, Choice]") -> Subscription:
    chosen = choices.get(about.id)
    if chosen is None:
        usual = HowOften.NONE if kind == MailKind.REGION_BULLETIN else HowOften.EVERY_WEEK
        return Subscription(kind, about, usual)
    return Subscription(kind, about, HowOften(chosen.how_often), chosen.chosen_at)


def digest_choices(user_id: UUID, farm_ids: Collection[UUID]) -> dict[UUID, Choice]:
    """What somebody chose last for the digest of each farm; without those of which they never chose."""
    rows = DigestChoice.objects.filter(recipient_id=user_id, farm_id__in=farm_ids)
    return {row.farm_id: row for row in rows.order_by("chosen_at", "id")}


def list_choices(user_id: UUID, group_ids: Collection[UUID]) -> dict[UUID, Choice]:
    """What an adviser chose last for the list of each group; without those of which they never chose."""
    rows = MondayListChoice.objects.filter(recipient_id=user_id, group_id__in=group_ids)
    return {row.group_id: row for row in rows.order_by("chosen_at", "id")}


def report_choices(user_id: UUID, group_ids: Collection[UUID]) -> dict[UUID, Choice]:
    """What a coordinator chose last for the report of each group; without those of which they never chose."""
    rows = CoordinatorReportChoice.objects.filter(recipient_id=user_id, group_id__in=group_ids)
    return {row.group_id: row for row in rows.order_by("chosen_at", "id")}


def bulletin_choices(user_id: UUID) -> dict[UUID, Choice]:
    """What somebody chose last for the bulletin of each region; without those of which they never chose."""
    rows = RegionBulletinChoice.objects.filter(recipient_id=user_id)
    return {row.region_id: row for row in rows.order_by("chosen_at", "id")}


def choice_keys() -> list[bytes]:
    """The keys that open addresses of choices, the newest first."""
    keys = ChoiceKey.objects.filter(ended_at__isnull=True).order_by("-made_at", "-id")
    return [bytes(key) for key in keys.values_list("key", flat=True)]
