"""The farm's log and its chain: one entry a round, import, correction, consent or alert change, never one a reading.

An entry's hash is SHA-256 over the entry before, its running number and a hash over the rows it brought, each in
canonical JSON. Notes and names enter by a salted hash, so that they can be erased and the chain still holds.
"""

import hashlib
import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, time
from decimal import Decimal
from typing import Any
from uuid import UUID

from django.db import connections, models

from farms.errors import Missing
from farms.lookups import array_of
from farms.models import LedgerEntry, LedgerHead

GENESIS = bytes(32)
ENTRY_COLUMNS = (
    "farm_id", "id", "number", "kind", "made_at", "actor_kind", "actor_id", "rows", "rows_hash", "previous", "hash",
)  # fmt: skip
# Both in one statement: every way in comes by here.
APPEND = f"""
WITH entry AS (
    INSERT INTO farms_ledgerentry ({", ".join(ENTRY_COLUMNS)})
    VALUES ({", ".join(f"%({name})s" for name in ENTRY_COLUMNS)})
)
UPDATE farms_ledgerhead SET number = %(number)s, hash = %(hash)s WHERE farm_id = %(farm_id)s
"""  # noqa: S608 - our own names


@dataclass(frozen=True)
class Actor:
    """Who acts: a kind that may leave the farm, and an id that may not."""

    kind: str
    id: UUID | None


@dataclass(frozen=True)
class ChainFault:
    """Where a farm's chain doesn't hold, and why."""

    number: int
    why: str


def lock_heads(farm_ids: Iterable[UUID], *, using: str = "default") -> dict[UUID, LedgerHead]:
    """The heads of these farms' chains, locked until the transaction ends, in one order for everybody.

    Locking needs the right to update, so it is the write check too. Raises Missing where a head can't be locked.
    """
    wanted = set(farm_ids)
    heads = LedgerHead.objects.using(using).filter(farm_id__any_of=array_of(wanted)).order_by("farm_id")
    found = {head.farm_id: head for head in heads.select_for_update()}
    if len(found) != len(wanted):
        raise Missing()
    return found


def append(
    head: LedgerHead, *, kind: str, actor: Actor, row_hashes: Iterable[bytes], now: datetime, using: str = "default"
) -> LedgerEntry:
    """Add one entry behind a locked head. `row_hashes` are the SHA-256 of the rows (see `row_hash`), in any order."""
    hashes = sorted(row_hashes)
    rows_hash = hashlib.sha256(b"".join(hashes)).digest()
    previous, number = bytes(head.hash), head.number + 1
    link = link_hash(head.farm_id, number, kind, now, rows_hash, previous)
    entry = LedgerEntry(
        farm_id=head.farm_id, number=number, kind=kind, made_at=now, actor_kind=actor.kind, actor_id=actor.id,
        rows=len(hashes), rows_hash=rows_hash, previous=previous, hash=link,
    )  # fmt: skip
    with connections[using].cursor() as cursor:
        cursor.execute(APPEND, {name: getattr(entry, name) for name in ENTRY_COLUMNS})
    head.number, head.hash = number, link
    return entry


def next_number(head: LedgerHead) -> int:
    """The number that the next entry will have: rows carry it before the entry is written."""
    return head.number + 1


def link_hash(farm_id: UUID, number: int, kind: str, now: datetime, rows_hash: bytes, previous: bytes) -> bytes:
    """SHA-256 over the entry before and this entry's own content."""
    body = {"farm": farm_id, "number": number, "kind": kind, "made_at": now, "rows": rows_hash.hex()}
    return hashlib.sha256(previous + canonical(body)).digest()


def canonical(values: Mapping[str, Any]) -> bytes:
    """JSON with sorted keys and no spaces; dates in ISO 8601, moments in UTC with microseconds, UUIDs as text."""
    return canonical_text(values).encode()


def canonical_text(values: Mapping[str, Any]) -> str:
    """As `canonical`, before it is bytes: a part that is written once may be put into several rows."""
    return _CANONICAL.encode(values)


def plain(value: Any) -> Any:
    """What stands in canonical JSON for a value that JSON has no form of its own for."""
    if isinstance(value, datetime):
        return value.astimezone(UTC).isoformat(timespec="microseconds")
    if isinstance(value, date | time):
        return value.isoformat()
    if isinstance(value, UUID):
        return str(value)
    if isinstance(value, Decimal):
        return f"{value:.4f}"
    if isinstance(value, bytes | memoryview):
        return bytes(value).hex()
    raise TypeError(f"{type(value).__name__} has no canonical form.")


_CANONICAL = json.JSONEncoder(sort_keys=True, separators=(",", ":"), ensure_ascii=False, default=plain)


def row_values(row: models.Model, *, leave_out: Iterable[str] = ()) -> dict[str, Any]:
    """A row's columns as they enter the chain: all but `entry` and what is left out (erasable parts).

    A column that was added later (the model's `chained_where_known`) enters only where it holds something.
    """
    younger = getattr(row, "chained_where_known", ())
    skipped = {"entry", *leave_out, *(name for name in younger if getattr(row, name) is None)}
    names = [field.attname for field in row._meta.concrete_fields if field.attname not in skipped]
    return {name: getattr(row, name) for name in names if name != "pk"}


def row_hash(table: str, values: Mapping[str, Any]) -> bytes:
    """SHA-256 of one row: its table's name and its columns in canonical JSON."""
    return written_row_hash(table, canonical_text(values))


def written_row_hash(table: str, row: str) -> bytes:
    """As `row_hash`, of columns that stand in canonical JSON already."""
    return hashlib.sha256(f"{table}\n{row}".encode()).digest()


def salted(text: str | bytes, salt: bytes) -> str:
    """What stands in the chain for a personal text or scan: erased together with its salt, it tells nothing."""
    return hashlib.sha256(salt + (text if isinstance(text, bytes) else text.encode())).hexdigest()


def actors_of_entries(entries: Iterable[tuple[UUID, int]]) -> dict[tuple[UUID, int], UUID | None]:
    """Who made these entries, each named by its farm and number. One query."""
    wanted = set(entries)
    rows = LedgerEntry.objects.filter(
        farm_id__any_of=array_of({farm_id for farm_id, _number in wanted}),
        number__in={number for _farm_id, number in wanted},
    )  # fmt: skip
    found = {(row.farm_id, row.number): row.actor_id for row in rows}
    return {entry: found[entry] for entry in wanted if entry in found}


def verify_links(farm_id: UUID, *, using: str = "default") -> list[ChainFault]:
    """Faults in a farm's chain of entries: a gap, a fork, a changed entry, a head that isn't the last."""
    entries = LedgerEntry.objects.using(using).filter(farm_id=farm_id).order_by("number")
    faults, previous, number = [], GENESIS, 0
    for entry in entries:
        number += 1
        if entry.number != number or bytes(entry.previous) != previous:
            faults.append(ChainFault(entry.number, "does not follow the entry before"))
        expected = link_hash(farm_id, entry.number, entry.kind, entry.made_at, bytes(entry.rows_hash), previous)
        if bytes(entry.hash) != expected:
            faults.append(ChainFault(entry.number, "was changed after it was written"))
        previous = bytes(entry.hash)
    head = LedgerHead.objects.using(using).filter(farm_id=farm_id).first()
    if head is None or (head.number, bytes(head.hash)) != (number, previous):
        faults.append(ChainFault(number, "the head of the chain is not its last entry"))
    return faults
