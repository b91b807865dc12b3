"""Erasing a person: of an account an empty shell stays, of somebody who counts an id, and of words their hashes.

Rows everywhere point at an account, so its row stays: with no name, an address under which nobody signs in, and
nothing that opens a door.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from allauth.account.models import EmailAddress
from django.contrib.auth.hashers import make_password
from django.contrib.sessions.models import Session
from django.db import connections, transaction
from django.db.models import Model, Q, QuerySet
from django.utils import translation
from django.utils.translation import gettext as _

from alerts.models import (
    CoordinatorReport,
    CoordinatorReportChoice,
    Digest,
    DigestChoice,
    MondayList,
    MondayListChoice,
    RegionBulletin,
    RegionBulletinChoice,
    StoppedAddress,
    TextMessage,
    TextNumber,
)
from farms.models import (
    AccountErasure,
    ApiToken,
    ErasureRequest,
    Farm,
    FarmAnswer,
    FeedAddress,
    GroupInvitation,
    GroupMember,
    Invitation,
    LastFarmVisited,
    LogEvent,
    Membership,
    OwnAnswer,
    Person,
    PhoneCode,
    SignInLink,
    User,
)
from farms.models.access import TokenScope
from farms.models.chain import ActorKind
from farms.models.erasure import WAITS
from farms.models.log import LogKind
from farms.tenancy.acting import erase_on_farm, erase_person
from server.erasing.words import words_of_account, words_of_counter

# What is a person's own and goes with them, by the column that says whose.
OWN: tuple[tuple[type[Model], str], ...] = (
    (TextNumber, "user_id"),
    (TextMessage, "recipient_id"),
    (MondayList, "recipient_id"),
    (MondayListChoice, "recipient_id"),
    (CoordinatorReport, "recipient_id"),
    (CoordinatorReportChoice, "recipient_id"),
    (RegionBulletin, "recipient_id"),
    (RegionBulletinChoice, "recipient_id"),
    (StoppedAddress, "user_id"),
    (SignInLink, "user_id"),
    (FeedAddress, "user_id"),
    (EmailAddress, "user_id"),
    (OwnAnswer, "who"),
)
# On each farm of theirs.
OWN_ON_FARM: tuple[tuple[type[Model], str], ...] = (
    (Digest, "recipient_id"),
    (DigestChoice, "recipient_id"),
    (FarmAnswer, "who"),
    (LastFarmVisited, "adviser_id"),
    (PhoneCode, "made_by_id"),
)
NO_INITIALS = "-"


class StillNeeded(Exception):
    """The account can't be erased yet: it is the only owner of a farm, or has a role in a group."""


@dataclass(frozen=True)
class PersonGone:
    """What went with a person: rows of their own, and words on farms."""

    request_id: UUID | None
    rows: int
    words: int


def erase_asked_account(request_id: UUID, user_id: UUID, *, now: datetime, using: str) -> PersonGone | None:
    """Erase an account whose day has come. None where it was taken back meanwhile. Raises StillNeeded."""
    with transaction.atomic(using=using):
        erase_person(user_id, using=using)
        requests = AccountErasure.objects.using(using).filter(WAITS, id=request_id, due_at__lte=now)
        asked = requests.first()
        if asked is None or not requests.update(done_at=now):
            return None
        return erase_account(user_id, words=asked.words, now=now, using=using, request_id=request_id)


def erase_account(
    user_id: UUID, *, words: bool, now: datetime, using: str, request_id: UUID | None = None
) -> PersonGone:  # fmt: skip
    """Make an empty shell of an account. Raises StillNeeded, and then nothing is changed."""
    with transaction.atomic(using=using):
        erase_person(user_id, using=using)
        user = User.objects.using(using).get(id=user_id)
        rows = sum(_delete(model, {column: user_id}, using) for model, column in OWN)
        rows += _end_in_groups(user, now, using)
        rows += _delete_sessions(user, using)
        told = [_erase_on(each, user, words=words, now=now, using=using) for each in _farms_of(user, using)]
        _empty(user, using)
        return PersonGone(request_id, rows + sum(each for each, _words in told), sum(each for _rows, each in told))


def erase_asked_counter(farm_id: UUID, request_id: UUID, *, now: datetime, using: str) -> PersonGone | None:
    """Erase somebody who counts on a farm: their name, and what was noted on their rounds where that was asked.

    None where it was taken back meanwhile.
    """
    with transaction.atomic(using=using):
        erase_on_farm(farm_id, using=using)
        requests = ErasureRequest.objects.using(using).filter(WAITS, farm_id=farm_id, id=request_id, due_at__lte=now)
        asked = requests.filter(person_id__isnull=False).first()
        if asked is None or not requests.update(done_at=now):
            return None
        farm = Farm.objects.using(using).get(id=farm_id)
        erased = words_of_counter(farm_id, asked.person_id, now=now, using=using) if asked.words else 0
        rows = _empty_people(farm, Q(id=asked.person_id), now, using)
        _note(farm_id, now, using)
        return PersonGone(request_id, rows, erased)


def _erase_on(farm_id: UUID, user: User, *, words: bool, now: datetime, using: str) -> tuple[int, int]:
    """What one farm has of a person: rows that went, and words."""
    erase_on_farm(farm_id, using=using)
    farm = Farm.objects.using(using).get(id=farm_id)
    roles = Membership.objects.using(using).filter(farm_id=farm_id, ended_at__isnull=True)
    if _is_only_owner(user, list(roles)):
        raise StillNeeded()
    people = Q(user_id=user.id)
    counters = list(Person.objects.using(using).filter(people, farm_id=farm_id).values_list("id", flat=True))
    erased = 0
    if words:
        erased += words_of_account(farm_id, user.id, now=now, using=using)
        erased += sum(words_of_counter(farm_id, each, now=now, using=using) for each in counters)
    rows = sum(_delete(model, {"farm_id": farm_id, column: user.id}, using) for model, column in OWN_ON_FARM)
    invited = Invitation.objects.using(using).filter(Q(accepted_by_id=user.id) | Q(email=user.email), farm_id=farm_id)
    rows += invited.delete()[0]
    rows += _empty_people(farm, people, now, using)
    rows += roles.filter(user_id=user.id).update(ended_at=now)
    # A key that they made may be with them still. A farm phone is the farm's, and goes on.
    keys = ApiToken.objects.using(using).filter(farm_id=farm_id, made_by_id=user.id, revoked_at__isnull=True)
    rows += keys.exclude(scope=TokenScope.COUNT).update(revoked_at=now)
    _note(farm_id, now, using)
    return rows, erased


def _is_only_owner(user: User, lasting: Sequence[Membership]) -> bool:
    owners = {each.user_id for each in lasting if each.role == "owner"}
    return owners == {user.id}


def _end_in_groups(user: User, now: datetime, using: str) -> int:
    """A guest's role ends; invitations with their name go. Raises StillNeeded for an adviser or a coordinator."""
    roles = GroupMember.objects.using(using).filter(user_id=user.id)
    if roles.filter(ended_at__isnull=True).exclude(role="guest").exists():
        raise StillNeeded()
    roles.filter(ended_at__isnull=True).update(ended_at=now)
    named = roles.exclude(name="").update(name="")
    mine = Q(accepted_by_id=user.id) | Q(email=user.email)
    return named + GroupInvitation.objects.using(using).filter(mine).delete()[0]


def _delete_sessions(user: User, using: str) -> int:
    """A session's owner stands inside it, signed: each that lasts is read."""
    mine = [
        each.session_key
        for each in Session.objects.using(using).iterator(chunk_size=500)
        if each.get_decoded().get("_auth_user_id") == str(user.id)
    ]
    return Session.objects.using(using).filter(session_key__in=mine).delete()[0]


def _farms_of(user: User, using: str) -> list[UUID]:
    with connections[using].cursor() as cursor:
        cursor.execute("SELECT farms_of_person(%s, %s)", [user.id, user.email])
        return sorted(cursor.fetchone()[0])


def _empty(user: User, using: str) -> None:
    """What is left of an account. Django's sessions end with the password as well."""
    User.objects.using(using).filter(id=user.id).update(
        name=_erased(user.language), email=f"{user.id}@erased.invalid", password=make_password(None), language="en",
        degrees="", days="", is_active=False, is_staff=False, is_superuser=False, last_login=None,
    )  # fmt: skip


def _empty_people(farm: Farm, which: Q, now: datetime, using: str) -> int:
    people: QuerySet[Person] = Person.objects.using(using).filter(which, farm_id=farm.id)
    people.filter(ended_at__isnull=True).update(ended_at=now)
    return people.update(name=_erased(farm.language), initials=NO_INITIALS, user_id=None)


def _erased(language: str) -> str:
    with translation.override(language):
        return _("erased person")


def _note(farm_id: UUID, now: datetime, using: str) -> None:
    """That somebody was erased, and not whom."""
    line = LogEvent(farm_id=farm_id, at=now, kind=LogKind.PERSON_ERASED, actor_kind=ActorKind.SERVICE, actor_id=None)
    LogEvent.objects.using(using).bulk_create([line])


def _delete(model: type[Model], which: dict[str, UUID], using: str) -> int:
    return int(model._default_manager.using(using).filter(**which).delete()[0])
