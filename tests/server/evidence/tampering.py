"""What whoever owns the database could do to it: changes of every kind, drawn by a seeded generator over real rows.

Each goes past foreign keys and row security, as a superuser's would. `rebuild` and what follows make all hashes of the
database fit again; only what lies outside can show them.
"""

import hashlib
import random
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from typing import Any
from uuid import UUID

from django.db import IntegrityError, connection, transaction
from django.db.utils import DataError
from psycopg.types.json import Jsonb

from farms.chained import ChainedTable, chained_tables
from farms.chained_rows import rows_of
from farms.heads import leaf_of
from farms.ids import uuid7
from farms.ledger import GENESIS, link_hash
from farms.merkle import root_of
from farms.models import DailyHead, HeadLeaf, LedgerEntry, LedgerHead

ENTRY_CHANGES = (
    "kind = kind || 'x'", "made_at = made_at + interval '1 day'", "rows = rows + 1", "rows_hash = sha256(rows_hash)",
    "hash = sha256(hash)", "previous = sha256(previous)",
)  # fmt: skip
# What a chain without its last entries would look like.
UNLINKED = """
DELETE FROM alerts_alertwork w WHERE farm_id = %s
AND NOT EXISTS (SELECT FROM alerts_alertevent e WHERE e.farm_id = w.farm_id AND e.id = w.event_id)
"""
NOT_ENDED = """
UPDATE farms_consent SET withdrawn_at = NULL WHERE farm_id = %s
AND withdrawn_at >= (SELECT min(made_at) FROM farms_ledgerentry WHERE farm_id = %s AND number > %s)
"""
AS_IF_ERASED = """
INSERT INTO farms_erasedrow (farm_id, id, "table", of_entry, row_hash, erased_at) VALUES (%s, %s, %s, %s, %s, now())
"""


class NothingHere(Exception):
    """This kind of change finds nothing to change; another one is drawn."""


@dataclass
class Tamperer:
    """Draws and does changes. `farms` are the ids of the farms there are."""

    rng: random.Random
    farms: list[UUID]

    def do(self, kind: str) -> str:
        """One change of a kind, in words. Raises NothingHere where it found nothing, or the database took none."""
        return KINDS[kind](self)

    def sql(self, statement: str, *values: Any) -> int:
        with connection.cursor() as cursor:
            cursor.execute(statement, values)
            return cursor.rowcount

    def farm(self) -> UUID:
        return self.rng.choice(self.farms)

    def row_of(self, table: ChainedTable, farm_id: UUID) -> UUID:
        ids = sorted(table.model._default_manager.filter(farm_id=farm_id).values_list("id", flat=True))
        if not ids:
            raise NothingHere
        return self.rng.choice(ids)

    def any_row(self) -> tuple[ChainedTable, UUID, UUID]:
        table, farm_id = self.rng.choice(list(chained_tables().values())), self.farm()
        return table, farm_id, self.row_of(table, farm_id)


def edit(by: Tamperer) -> str:
    """One column of one row says something else."""
    table, farm_id, row_id = by.any_row()
    names = [name for name in table.columns if name not in ("farm_id", "salt")]
    name = by.rng.choice(names)
    row = table.model._default_manager.filter(farm_id=farm_id, id=row_id)
    new = _another(by.rng, row.values_list(name, flat=True)[0], table, name)
    by.sql(f'UPDATE "{table.table}" SET "{name}" = %s WHERE farm_id = %s AND id = %s', new, farm_id, row_id)
    return f"edit {table.table}.{name}"


def _another(rng: random.Random, old: Any, table: ChainedTable, name: str) -> Any:
    """Another value of the same kind, or a value where there was none."""
    kind = table.model._meta.get_field(name.removesuffix("_id") if name.endswith("_id") else name)
    column = kind.get_internal_type() if hasattr(kind, "get_internal_type") else "UUIDField"
    changes: dict[type, Callable[[Any], Any]] = {
        bool: lambda value: not value,
        int: lambda value: value + rng.choice([-1, 1, 7, 100]),
        float: lambda value: value + 0.0625,
        Decimal: lambda value: value / 2,
        str: lambda value: value[:-1] if value and rng.random() < 0.5 else f"{value}x",
        UUID: lambda _value: uuid7(),
        datetime: lambda value: value + timedelta(microseconds=rng.choice([1, -1, 3_600_000_000])),
        date: lambda value: value + timedelta(days=rng.choice([-7, -1, 1])),
        time: lambda value: value.replace(minute=(value.minute + 1) % 60),
        list: lambda value: Jsonb([*value, 1]) if column == "JSONField" else [*value, 1],
        dict: lambda value: Jsonb({**value, "also": rng.randrange(9)}),
    }
    if old is None:
        raise NothingHere
    if isinstance(old, bytes | memoryview):
        return bytes(old) + b"x"
    return changes[type(old)](old)


def delete(by: Tamperer) -> str:
    table, farm_id, row_id = by.any_row()
    by.sql(f'DELETE FROM "{table.table}" WHERE farm_id = %s AND id = %s', farm_id, row_id)
    return f"delete from {table.table}"


def add(by: Tamperer) -> str:
    """A row like one that is there, as if the same entry had brought it, too."""
    table, farm_id, row_id = by.any_row()
    names = ", ".join(
        f'"{each.column}"' for each in table.model._meta.concrete_fields if each.column not in ("id", "pk")
    )
    by.sql(
        f'INSERT INTO "{table.table}" (id, {names}) SELECT %s, {names} FROM "{table.table}"'
        " WHERE farm_id = %s AND id = %s", uuid7(), farm_id, row_id,
    )  # fmt: skip
    return f"add to {table.table}"


def move(by: Tamperer) -> str:
    """A row stands with another entry."""
    table, farm_id, row_id = by.any_row()
    if table.how.entry != "entry":
        raise NothingHere
    last = LedgerEntry.objects.filter(farm_id=farm_id).count()
    other = by.rng.randint(1, last + 1)
    one = f'UPDATE "{table.table}" SET entry = %s WHERE farm_id = %s AND id = %s AND entry <> %s'
    if not by.sql(one, other, farm_id, row_id, other):
        raise NothingHere
    return f"move a row of {table.table}"


def swap_farms(by: Tamperer) -> str:
    """Two rows of a table change farms."""
    table = by.rng.choice(list(chained_tables().values()))
    here, there = by.rng.sample(by.farms, 2)
    one, other = by.row_of(table, here), by.row_of(table, there)
    for farm_id, row_id, to in ((here, one, there), (there, other, here)):
        by.sql(f'UPDATE "{table.table}" SET farm_id = %s WHERE farm_id = %s AND id = %s', to, farm_id, row_id)
    return f"swap {table.table} between farms"


def salt(by: Tamperer) -> str:
    tables = [each.table for each in chained_tables().values() if each.how.salted]
    table = by.rng.choice([*tables, "monitoring_photopicture", "farms_headleaf"])
    if not by.sql(f'UPDATE "{table}" SET salt = %s WHERE farm_id = %s', by.rng.randbytes(16), by.farm()):
        raise NothingHere
    return f"change salts of {table}"


def picture(by: Tamperer) -> str:
    if not by.sql(
        "UPDATE monitoring_photopicture SET picture = picture || '\\x00'::bytea WHERE farm_id = %s", by.farm()
    ):
        raise NothingHere
    return "change a photo's bytes"


def entry(by: Tamperer) -> str:
    """An entry says another kind, moment, number of rows, or hash."""
    farm_id, number = by.farm(), 0
    number = by.rng.randint(1, LedgerEntry.objects.filter(farm_id=farm_id).count())
    change = by.rng.choice(ENTRY_CHANGES)
    by.sql(f"UPDATE farms_ledgerentry SET {change} WHERE farm_id = %s AND number = %s", farm_id, number)
    return f"entry: {change}"


def reorder(by: Tamperer) -> str:
    """Two entries change their numbers."""
    farm_id = by.farm()
    one, other = by.rng.sample(range(1, LedgerEntry.objects.filter(farm_id=farm_id).count() + 1), 2)
    aside = 10_000
    for old, new in ((one, aside), (other, one), (aside, other)):
        by.sql("UPDATE farms_ledgerentry SET number = %s WHERE farm_id = %s AND number = %s", new, farm_id, old)
    return f"reorder entries {one} and {other}"


def truncate(by: Tamperer) -> str:
    """The last entries go, with their rows, and the head is put back: nothing inside shows it."""
    farm_id = by.farm()
    last = LedgerEntry.objects.filter(farm_id=farm_id).count()
    keep = by.rng.randint(0, last - 1)
    for table in chained_tables().values():
        if table.how.entry == "entry":
            by.sql(f'DELETE FROM "{table.table}" WHERE farm_id = %s AND entry > %s', farm_id, keep)
    by.sql(UNLINKED, farm_id)
    by.sql(NOT_ENDED, farm_id, farm_id, keep)
    by.sql("DELETE FROM farms_ledgerentry WHERE farm_id = %s AND number > %s", farm_id, keep)
    rebuild_chain(farm_id)
    return f"truncate to {keep} of {last}"


def rebuild(by: Tamperer) -> str:
    """Rows are changed, and every hash of the farm's chain is made anew, so that all of it fits."""
    what = by.rng.choice([edit, delete, add, move])(by)
    for farm_id in by.farms:
        rebuild_chain(farm_id)
    return f"{what}, and rebuild"


def rebuild_all(by: Tamperer) -> str:
    """The same, and the leaves and the root of every day as well; the signature can't be made."""
    what = rebuild(by)
    for head in DailyHead.objects.all():
        leaves = []
        for leaf in HeadLeaf.objects.filter(day=head.day).order_by("place"):
            link = LedgerEntry.objects.filter(farm_id=leaf.farm_id, number=leaf.number).first()
            leaves.append(leaf_of(leaf.farm_id, leaf.number, bytes(link.hash) if link else GENESIS, bytes(leaf.salt)))
        document = head.document.replace(_root_in(head.document), root_of(leaves).hex())
        by.sql("UPDATE farms_dailyhead SET leaves = %s, document = %s, hash = %s WHERE day = %s", b"".join(leaves),
               document, hashlib.sha256(document.encode()).digest(), head.day)  # fmt: skip
    return f"{what}, and all leaves and roots"


def _root_in(document: str) -> str:
    return document.partition('"root":"')[2][:64]


def forget_leaf(by: Tamperer) -> str:
    """A farm is rebuilt, and its place in the days goes, as if it had been erased."""
    what = rebuild(by)
    by.sql("DELETE FROM farms_headleaf WHERE farm_id = %s", by.farm())
    return f"{what}, and forget a farm's leaves"


def forget_day(by: Tamperer) -> str:
    what = rebuild(by)
    by.sql("DELETE FROM farms_dailyhead")
    by.sql("DELETE FROM farms_headleaf")
    return f"{what}, and forget every day"


def false_erasure(by: Tamperer) -> str:
    """A reading goes, and its hash stays as if it had been a note that was erased."""
    table = chained_tables()["monitoring_reading"]
    farm_id = by.farm()
    row_id = by.row_of(table, farm_id)
    one = next(row for row in rows_of([farm_id]) if row.table == table.table and f'"id":"{row_id}"' in (row.text or ""))
    by.sql(f'DELETE FROM "{table.table}" WHERE farm_id = %s AND id = %s', farm_id, row_id)
    by.sql(AS_IF_ERASED, farm_id, uuid7(), table.table, one.entry, one.hash)
    return "delete a reading as if it had been erased"


KINDS: dict[str, Callable[[Tamperer], str]] = {
    each.__name__: each
    for each in (edit, delete, add, move, swap_farms, salt, picture, entry, reorder, truncate, rebuild, rebuild_all,
                 forget_leaf, forget_day, false_erasure)
}  # fmt: skip


def rebuild_chain(farm_id: UUID) -> None:
    """Make every hash of a farm's chain from its rows as they are now, and the head of it."""
    hashes: dict[int, list[bytes]] = {}
    for row in rows_of([farm_id]):
        hashes.setdefault(row.entry, []).append(row.hash)
    before, number = GENESIS, 0
    for link in LedgerEntry.objects.filter(farm_id=farm_id).order_by("number"):
        number += 1
        here = sorted(hashes.get(link.number, ()))
        rows_hash = hashlib.sha256(b"".join(here)).digest()
        made = link_hash(farm_id, number, link.kind, link.made_at, rows_hash, before)
        LedgerEntry.objects.filter(farm_id=farm_id, id=link.id).update(
            number=number, rows=len(here), rows_hash=rows_hash, previous=before, hash=made
        )
        before = made
    LedgerHead.objects.filter(farm_id=farm_id).update(number=number, hash=before)


def tampered(by: Tamperer, kind: str) -> str:
    """Draw until a change of this kind is one that the database takes."""
    for _try in range(60):
        try:
            with transaction.atomic():
                return by.do(kind)
        except (NothingHere, IntegrityError, DataError):
            continue
    raise AssertionError(f"nothing to change by {kind}")
