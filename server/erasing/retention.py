"""What is over its time: erased farm by farm and person by person, words with their hash kept. Found and done anew.

Each farm is a transaction of its own; run twice, it finds nothing left.
"""

from collections import Counter
from collections.abc import Iterator
from datetime import datetime, timedelta
from functools import cache
from typing import Any
from uuid import UUID

from django.contrib.sessions.models import Session
from django.db import connections, transaction
from django.db.models import Model, Q, QuerySet

from alerts.models import CoordinatorReport, Digest, MondayList, RegionBulletin, TextMessage, WebhookDelivery
from alerts.models.outbox import DeliveryState
from farms.models import (
    FarmAnswer,
    GroupInvitation,
    Invitation,
    LedgerEntry,
    LogEvent,
    PhoneCode,
    SignInLink,
    User,
)
from farms.models.answer import KEPT as ANSWERS_KEPT
from farms.models.retention import KeptKind
from farms.retention import KEPT, months_before, months_kept
from farms.services import erase_rows
from farms.tenancy.acting import erase_on_farm, erase_person
from monitoring.models import FindingPicture, Photo, PhotoPicture
from server.erasing.kinds import Kind
from server.erasing.words import kept_apart_of, models_of, old_applicators

# What was for a moment only: codes, links, invitations that are done, deliveries to webhooks. Nobody chooses.
SPENT = timedelta(days=90)
DONE = [DeliveryState.SENT, DeliveryState.REFUSED, DeliveryState.UNWANTED, "late"]
OF_PERSONS: tuple[type[Model], ...] = (MondayList, CoordinatorReport, RegionBulletin)
Erased = Counter[str]


def tidy(*, now: datetime, using: str) -> Erased:
    """Erase all that is over its time. Returns how many rows of which table went."""
    told: Erased = Counter()
    months_of = cache(lambda group_id: months_kept(group_id, using=using))
    for farm_id, group_id in _farms(using):
        with transaction.atomic(using=using):
            months = months_of(group_id)
            erase_on_farm(farm_id, using=using)
            told += _on_farm(farm_id, months, now, using)
    return told + _of_persons(now, using) + _of_nobody(now, using)


def over_time(*, now: datetime, using: str) -> Erased:
    """What would go: the same, in a transaction that is taken back."""
    with transaction.atomic(using=using):
        told = tidy(now=now, using=using)
        transaction.set_rollback(True, using=using)
    return told


def _on_farm(farm_id: UUID, months: dict[KeptKind, int | None], now: datetime, using: str) -> Erased:
    told: Erased = Counter()
    for kind, rows in _words_over(farm_id, months, now, using):
        told[kind] += erase_rows(list(rows), now=now, using=using)
    if (before := _cut(months[KeptKind.PHOTOS], now)) is not None:
        old = Photo.objects.using(using).filter(farm_id=farm_id, entry__in=_entries_before(farm_id, before, using))
        pictures = PhotoPicture.objects.using(using).filter(farm_id=farm_id, photo_id__in=old.values("id"))
        told += _delete(pictures)
        told += _delete(kept_apart_of(FindingPicture, farm_id, _entries_before(farm_id, before, using), using))
    if (before := _cut(months[KeptKind.NOTES], now)) is not None:
        for model in models_of(Kind.WALKS):
            told += _delete(kept_apart_of(model, farm_id, _entries_before(farm_id, before, using), using))
    if (before := _cut(months[KeptKind.LOG], now)) is not None:
        told += _delete(LogEvent.objects.using(using).filter(farm_id=farm_id, at__lt=before))
    if (before := _cut(months[KeptKind.MAILS], now)) is not None:
        mails = Digest.objects.using(using).filter(farm_id=farm_id, queued_at__lt=before, state__in=DONE)
        told += _delete(mails)
    told += _delete(FarmAnswer.objects.using(using).filter(farm_id=farm_id, made_at__lte=now - ANSWERS_KEPT))
    told += _delete(PhoneCode.objects.using(using).filter(farm_id=farm_id, expires_at__lt=now - SPENT))
    told += _delete(Invitation.objects.using(using).filter(_spent(now), farm_id=farm_id))
    deliveries = WebhookDelivery.objects.using(using).filter(farm_id=farm_id, ended_at__lt=now - SPENT)
    return told + _delete(deliveries)


def _words_over(
    farm_id: UUID, months: dict[KeptKind, int | None], now: datetime, using: str
) -> Iterator[tuple[str, QuerySet[Any]]]:
    if (before := _cut(months[KeptKind.NOTES], now)) is not None:
        entries = _entries_before(farm_id, before, using)
        for model in models_of(Kind.NOTES):
            rows = model._default_manager.using(using).filter(farm_id=farm_id, entry__in=entries)
            yield model._meta.db_table, rows
    if (kept := months[KeptKind.APPLICATORS]) is not None:
        # Whatever was set: never before the least.
        kept = max(kept, KEPT[KeptKind.APPLICATORS].least)
        yield "monitoring_applicationpeople", old_applicators(farm_id, now, using, months=kept)


def _entries_before(farm_id: UUID, moment: datetime, using: str) -> QuerySet[Any, Any]:
    """The numbers of a farm's entries from before a moment."""
    return LedgerEntry.objects.using(using).filter(farm_id=farm_id, made_at__lt=moment).values("number")


def _of_persons(now: datetime, using: str) -> Erased:
    """Mails that were a person's own, by the time of the group that they came from."""
    told: Erased = Counter()
    for user_id in list(User.objects.using(using).order_by("id").values_list("id", flat=True)):
        with transaction.atomic(using=using):
            erase_person(user_id, using=using)
            for model in OF_PERSONS:
                rows = model._default_manager.using(using).filter(recipient_id=user_id, state__in=DONE)
                for group_id in set(rows.values_list("group_id", flat=True)):
                    before = _cut(months_kept(group_id, using=using)[KeptKind.MAILS], now)
                    if before is not None:
                        told += _delete(rows.filter(group_id=group_id, queued_at__lt=before))
            old = months_before(now, KEPT[KeptKind.MAILS].usual)
            texts = TextMessage.objects.using(using).filter(recipient_id=user_id, state__in=DONE, queued_at__lt=old)
            told += _delete(texts)
    return told


def _of_nobody(now: datetime, using: str) -> Erased:
    """Sessions that ended, links and invitations that are spent."""
    with transaction.atomic(using=using):
        told = _delete(Session.objects.using(using).filter(expire_date__lt=now))
        told += _delete(SignInLink.objects.using(using).filter(expires_at__lt=now - SPENT))
        return told + _delete(GroupInvitation.objects.using(using).filter(_spent(now)))


def _spent(now: datetime) -> Q:
    """Invitations that were accepted, taken back or forgotten long ago."""
    long_ago = now - SPENT
    return Q(accepted_at__lt=long_ago) | Q(withdrawn_at__lt=long_ago) | Q(expires_at__lt=long_ago)


def _cut(months: int | None, now: datetime) -> datetime | None:
    return None if months is None else months_before(now, months)


def _delete(rows: QuerySet[Any]) -> Erased:
    return Counter({rows.model._meta.db_table: rows.delete()[0]})


def _farms(using: str) -> list[tuple[UUID, UUID]]:
    with connections[using].cursor() as cursor:
        cursor.execute("SELECT farm_id, group_id FROM farms_with_groups()")
        return list(cursor.fetchall())
