"""The rows of farms as they entered the chain: read again from their tables, and hashed again."""

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any
from uuid import UUID

from django.db import models

from farms.chained import ChainedTable, chained_tables
from farms.chained_sql import hashes_in_sql, statement_of
from farms.ledger import canonical_text, salted, written_row_hash
from farms.lookups import array_of
from farms.models import ErasedRow, LedgerEntry

AT_ONCE = 5_000


@dataclass(frozen=True, slots=True)
class ChainedRow:
    """A row in the chain's form: what it holds in canonical JSON, and the number of the entry that brought it.

    Of an erased row only the hash is left, and `text` is None.
    """

    farm_id: UUID
    entry: int
    table: str
    hash: bytes
    text: str | None


def rows_of(farm_ids: Iterable[UUID], *, using: str = "default", ordered: bool = False) -> Iterator[ChainedRow]:
    """Every chained row of these farms, table by table, and what is left of erased ones. `ordered`: by entry and id."""
    ids = list(farm_ids)
    for table in chained_tables().values():
        yield from _rows(table, ids, using, ordered=ordered)
    yield from erased_rows(ids, using=using)


def hashes_of(farm_ids: Iterable[UUID], *, using: str = "default") -> Iterator[tuple[UUID, int, list[bytes], bool]]:
    """By farm and entry the hashes of rows as they are now, and whether they were erased: all that a check needs.

    The same as of `rows_of`; where it can be, PostgreSQL does the work.
    """
    ids = list(farm_ids)
    for table in chained_tables().values():
        if (statement := statement_of(table)) is not None:
            for farm_id, entry, hashes in hashes_in_sql(statement, ids, using=using):
                yield farm_id, entry, hashes, False
        else:
            for row in _rows(table, ids, using, ordered=False):
                yield row.farm_id, row.entry, [row.hash], False
    for row in erased_rows(ids, using=using):
        yield row.farm_id, row.entry, [row.hash], True


def erased_rows(farm_ids: Iterable[UUID], *, using: str = "default") -> Iterator[ChainedRow]:
    """What is left of erased rows. Only of tables whose rows may be erased: elsewhere such a hash explains nothing."""
    tables = [name for name, table in chained_tables().items() if table.how.may_be_erased]
    found = ErasedRow.objects.using(using).filter(farm_id__any_of=array_of(farm_ids), table__in=tables)
    for row in found.order_by("farm_id", "of_entry", "id"):
        yield ChainedRow(row.farm_id, row.of_entry, row.table, bytes(row.row_hash), None)


def hash_again(row: models.Model) -> bytes:
    """The hash by which a stored row of a chained model stands in the chain."""
    table = chained_tables()[row._meta.db_table]
    return written_row_hash(table.table, _writer(table)({name: getattr(row, name) for name in table.columns}))


def _rows(table: ChainedTable, ids: list[UUID], using: str, *, ordered: bool) -> Iterator[ChainedRow]:
    names, write = table.columns, _writer(table)
    rows = table.model._default_manager.using(using).filter(farm_id__any_of=array_of(ids))
    if ordered:
        rows = rows.order_by("farm_id", table.how.entry, "id")
    ends = _Endings.of(table, ids, using)
    for *values, entry in rows.values_list(*names, table.how.entry).iterator(chunk_size=AT_ONCE):
        row = dict(zip(names, values, strict=True))
        text = write(ends.begun(row) if ends else dict(row))
        yield ChainedRow(row["farm_id"], entry, table.table, written_row_hash(table.table, text), text)
        if ends and (ended := ends.entry_of(row)) is not None:
            whole = write(dict(row))
            yield ChainedRow(row["farm_id"], ended, table.table, written_row_hash(table.table, whole), whole)


def _writer(table: ChainedTable) -> Callable[[dict[str, Any]], str]:
    """A row's canonical JSON, from its columns by name: as farms.ledger.row_values, personal parts by their hash."""
    younger, personal = table.younger, table.how.salted
    if not younger and not personal:
        return canonical_text

    def write(row: dict[str, Any]) -> str:
        for name in younger:
            if row[name] is None:
                del row[name]
        if personal:
            salt = bytes(row.pop("salt"))
            for name in personal:
                value = row[name]
                row[name] = salted(value if isinstance(value, str) else bytes(value), salt)
        return canonical_text(row)

    return write


@dataclass(frozen=True)
class _Endings:
    """Rows that entered twice: when they came, without their end, and whole when they ended."""

    column: str
    entries: Mapping[tuple[UUID, Any], int]

    @classmethod
    def of(cls, table: ChainedTable, ids: list[UUID], using: str) -> "_Endings | None":
        if table.how.ends is None:
            return None
        column, kinds = table.how.ends
        entries = LedgerEntry.objects.using(using).filter(farm_id__any_of=array_of(ids), kind__in=kinds)
        found = entries.order_by("-number").values_list("farm_id", "made_at", "number")
        return cls(column, {(farm_id, made_at): number for farm_id, made_at, number in found})

    def begun(self, row: Mapping[str, Any]) -> dict[str, Any]:
        return {name: value for name, value in row.items() if name != self.column}

    def entry_of(self, row: Mapping[str, Any]) -> int | None:
        """The entry that brought the end; 0, which is never there, where no entry says so."""
        ended = row[self.column]
        return None if ended is None else self.entries.get((row["farm_id"], ended), 0)
