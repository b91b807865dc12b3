"""An adviser leaves the group: the role ends at once, and with it whatever hangs on it, in one transaction.

The coordinator who ends it sees no farm. What has to be written on the farms is done acting for whoever leaves, whose
rights reach just the farms whose consents end; the entries and notes name the coordinator.

- **The door and row security** ask for the lasting role at each request, so that sessions open no farm of the group
  from the next request on. The session itself stays: the person may own a farm here or advise another group, and what
  they may not see is not found. The same holds for feeds, for mails that wait, and for imports under way.
- **Consents** end with an entry of each farm's chain and a line of its log, and stay as history.
- **Keys of programs** that they made are switched off, unless they are a member of the farm themselves: nobody of the
  farm stands behind them. **Farm phones** go on counting, since a barn's phone must not go dead in a walk: they are
  the farm's. Its page, its mail and its list of phones name those that joined by a code of whoever left, and the owner
  can switch them off. Codes for a phone that were not used yet no longer work.
- **Farms that were to get them next** have nobody named again, and are told.
- **Planned visits** are taken back, and where they were before is erased; both become open promises.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from uuid import UUID

from django.db import connection, transaction
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from farms.errors import Conflict
from farms.ledger import Actor, append, lock_heads
from farms.lookups import array_of
from farms.models import (
    AdviserOffer,
    ApiToken,
    Consent,
    GroupMember,
    LogEvent,
    Membership,
    OpenPromise,
    PhoneCode,
    User,
)
from farms.models.access import ConsentKind, GroupRole, TokenScope
from farms.models.chain import ActorKind
from farms.models.log import LogKind
from farms.services.consent import withdrawn_hash
from farms.services.phone import CODE_LIFE
from farms.services.visit import take_visits_back
from farms.tenancy.acting import act_for_user


class AdviserLeftAlready(Conflict):
    code = "adviser_left_already"
    message = _("This adviser has left the group already. Load the page again to see who takes over.")


@dataclass(frozen=True)
class Promise:
    """What was promised to a farm for a day."""

    farm_id: UUID
    kind: str
    day: date


def lock_role(role: GroupMember, *, beside: User | None = None) -> GroupMember:
    """The role as it is now, locked: of two coordinators at once the second waits, and learns what the first did.

    `beside`: who would follow, whose role is locked with it, all in one order: nobody is named who is just leaving.
    """
    follows = Q(group_id=role.group_id, role=GroupRole.ADVISER, ended_at__isnull=True, user=beside)
    roles = GroupMember.objects.select_for_update(of=("self",)).select_related("user", "group").order_by("id")
    return next(each for each in roles.filter(Q(id=role.id) | follows) if each.id == role.id)


def farms_left_by(role: GroupMember) -> list[UUID]:
    """The farms of the group that let this adviser in, in the order in which they are locked.

    The transaction must act for the adviser.
    """
    return sorted(consent.farm_id for consent in _consents(role))


@transaction.atomic
def end_adviser(*, role: GroupMember, promises: Iterable[Promise], by: User, now: datetime) -> list[UUID]:
    """End a lasting adviser's role that is locked, and all that hangs on it; the farms that it was about.

    The transaction acts for `by` afterwards.
    """
    act_for_user(role.user_id)
    consents = _consents(role)
    farms = [consent.farm_id for consent in consents]
    actor = Actor(ActorKind.COORDINATOR, by.id)
    _chain_and_note(consents, actor, now)
    _switch_keys_off(role.user_id, farms, actor, now)
    take_visits_back(adviser_id=role.user_id, farm_ids=farms, now=now)
    _write_down(role.user, consents, promises, by, now)
    # Last on the farms: after it whoever leaves may write nothing there.
    ids = array_of([consent.id for consent in consents])
    Consent.objects.filter(farm_id__any_of=array_of(farms), id__any_of=ids).update(withdrawn_at=now)
    act_for_user(by.id)
    GroupMember.objects.filter(id=role.id, ended_at__isnull=True).update(ended_at=now)
    role.ended_at = now
    _name_nobody(role, now)
    return farms


def _consents(role: GroupMember) -> list[Consent]:
    """What lasts of the farms' consents to this adviser, by farm."""
    consents = Consent.objects.filter(
        adviser_id=role.user_id, kind=ConsentKind.ADVISER, withdrawn_at__isnull=True, farm__group_id=role.group_id
    )
    return list(consents.order_by("farm_id"))


def _chain_and_note(consents: Sequence[Consent], actor: Actor, now: datetime) -> None:
    heads = lock_heads(consent.farm_id for consent in consents)
    for consent in consents:
        consent.withdrawn_at = now
        append(heads[consent.farm_id], kind="adviser_left", actor=actor, row_hashes=[withdrawn_hash(consent)], now=now)
    LogEvent.objects.bulk_create(
        _line(consent.farm_id, LogKind.ADVISER_LEFT, actor, now, f"adviser {consent.adviser_id}")
        for consent in consents
    )


def _switch_keys_off(user_id: UUID, farms: Sequence[UUID], actor: Actor, now: datetime) -> None:
    member_of = Membership.objects.filter(user_id=user_id, ended_at__isnull=True).values_list("farm_id", flat=True)
    own = array_of(sorted(set(farms) - set(member_of)))
    programs = (TokenScope.READ, TokenScope.WRITE)
    keys = ApiToken.objects.filter(farm_id__any_of=own, made_by_id=user_id, revoked_at__isnull=True, scope__in=programs)
    LogEvent.objects.bulk_create([_line(key.farm_id, LogKind.TOKEN_ENDED, actor, now, key.name) for key in keys])
    keys.update(revoked_at=now)
    codes = PhoneCode.objects.filter(farm_id__any_of=own, made_by_id=user_id, used_at__isnull=True)
    # Over before it began, by any clock.
    codes.update(expires_at=F("made_at") - CODE_LIFE)


def _write_down(
    user: User, consents: Sequence[Consent], promises: Iterable[Promise], by: User, now: datetime
) -> None:  # fmt: skip
    """An offer for each farm, of nobody yet, and what was promised it."""
    farms = array_of([consent.farm_id for consent in consents])
    # They were here before, left, and came again.
    AdviserOffer.objects.filter(farm_id__any_of=farms, left=user, ended_at__isnull=True).update(ended_at=now)
    AdviserOffer.objects.bulk_create(
        AdviserOffer(
            farm_id=consent.farm_id, left=user, left_at=now, offered_by=by, offered_at=now,
            agreed_by_id=consent.given_by_id if consent.whoever_follows else None,
        )
        for consent in consents
    )  # fmt: skip
    OpenPromise.objects.bulk_create(
        OpenPromise(farm_id=each.farm_id, left=user, kind=each.kind, day=each.day, noted_at=now) for each in promises
    )


def _name_nobody(role: GroupMember, now: datetime) -> None:
    """Where whoever leaves was named to follow somebody and the farm said nothing yet, nobody is named any more."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT nobody_follows(%s, %s, %s)", [role.group_id, role.user_id, now])


def _line(farm_id: UUID, kind: LogKind, actor: Actor, now: datetime, about: str) -> LogEvent:
    return LogEvent(farm_id=farm_id, at=now, kind=kind, actor_kind=actor.kind, actor_id=actor.id, about=about)
