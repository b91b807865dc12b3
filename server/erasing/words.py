"""Words that people typed: erased with their salt, while their hash stays and the chain holds (farms/services/erasing).

Names of applicators stay as long as records of applications must be kept: see farms/retention.py.
"""

from collections.abc import Iterator
from datetime import datetime
from typing import Any
from uuid import UUID

from django.apps import apps
from django.db.models import Model, Q, QuerySet

from farms.chained import KeptApart
from farms.models import LedgerEntry
from farms.models.retention import KeptKind
from farms.retention import KEPT, months_before
from farms.services import erase_rows
from farms.tenancy.keys import FarmRecord
from monitoring.models import ApplicationPeople, Note, Round
from server.erasing.kinds import Kind, tables_of


def words_of_account(farm_id: UUID, user_id: UUID, *, now: datetime, using: str) -> int:
    """Erase what one account typed on a farm: the entries of the chain say which rows it brought. Returns how many."""
    entries = LedgerEntry.objects.using(using).filter(farm_id=farm_id, actor_id=user_id).values("number")
    erased = 0
    for model in models_of(Kind.NOTES):
        erased += _erase(model._default_manager.using(using).filter(farm_id=farm_id, entry__in=entries), now, using)
    for model in (*models_of(Kind.WALKS), *models_of(Kind.COMPLAINTS)):
        if isinstance(getattr(model, "chained", None), KeptApart):
            erased += kept_apart_of(model, farm_id, entries, using).delete()[0]
    return erased + _erase(old_applicators(farm_id, now, using).filter(entry__in=entries), now, using)


def kept_apart_of(model: type[Model], farm_id: UUID, entries: Any, using: str) -> QuerySet[Any]:
    """What a table keeps apart of the records that these entries brought: their salted hash stays on the record."""
    how: Any = getattr(model, "chained")  # noqa: B009 - it says how it is kept
    record = how.told_by.partition("__")[0]
    return model._default_manager.using(using).filter(farm_id=farm_id, **{f"{record}__entry__in": entries})


def words_of_counter(farm_id: UUID, person_id: UUID, *, now: datetime, using: str) -> int:
    """Erase what was noted on the rounds that somebody counted or typed. Returns how many."""
    theirs = Q(counted_by=person_id) | Q(typed_by=person_id)
    rounds = Round.objects.using(using).filter(theirs, farm_id=farm_id).values("id")
    return _erase(Note.objects.using(using).filter(farm_id=farm_id, round_id__in=rounds), now, using)


def old_applicators(
    farm_id: UUID, now: datetime, using: str, *, months: int = KEPT[KeptKind.APPLICATORS].least
) -> QuerySet[ApplicationPeople]:  # fmt: skip
    """Names on applications that began longer ago than this many months."""
    people = ApplicationPeople.objects.using(using).filter(farm_id=farm_id)
    return people.filter(application__begins_at__lt=months_before(now, months))


def models_of(kind: Kind) -> Iterator[type[FarmRecord]]:
    """The models whose tables hold this kind of record."""
    wanted = tables_of(kind)
    for model in apps.get_models():
        if model._meta.db_table in wanted and issubclass(model, FarmRecord):
            yield model


def _erase(rows: QuerySet[FarmRecord], now: datetime, using: str) -> int:
    return erase_rows(list(rows), now=now, using=using)
