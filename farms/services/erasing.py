"""Erasing chained rows: their words go with their salt, their hash stays, so that the chain still holds."""

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from django.db import transaction

from farms.chained import Chained
from farms.chained_rows import hash_again
from farms.models import ErasedRow
from farms.tenancy.keys import FarmRecord


def erase_rows(rows: Sequence[FarmRecord], *, now: datetime, using: str = "default") -> int:
    """Erase rows of a chained table with personal parts, and keep the hash of each. Returns how many.

    For the app's role where it may delete them, and for the eraser's, which names its farm first. Raises TypeError for
    a table whose rows hold nothing personal: those are never erased one by one.
    """
    kept: list[ErasedRow] = []
    with transaction.atomic(using=using):
        for row in rows:
            how: Any = getattr(row, "chained", None)
            if not isinstance(how, Chained) or not how.may_be_erased:
                raise TypeError(f"Rows of {row._meta.db_table} hold nothing that may be erased.")
            hashed = ErasedRow(
                farm_id=row.farm_id, table=row._meta.db_table, of_entry=getattr(row, how.entry),
                row_hash=hash_again(row), erased_at=now,
            )  # fmt: skip
            gone, _each = type(row)._default_manager.using(using).filter(farm_id=row.farm_id, id=row.id).delete()
            # Erased by another one meanwhile, its hash is kept already.
            if gone:
                kept.append(hashed)
        ErasedRow.objects.using(using).bulk_create(kept)
    return len(kept)
