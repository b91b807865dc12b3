"""New rows of several tables in one statement, each written once: as the chain hashes it, and as it is inserted.

For the few rows of one round, what Django does for each table (a statement made, its values prepared one by one) costs
more than PostgreSQL's work. Row security holds for it, as for any INSERT.
"""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

from django.db import connections, models

from farms.ledger import canonical_text, row_values, written_row_hash


@dataclass(frozen=True)
class NewRow:
    """A row on its way in: its table, and its columns but `entry` in canonical JSON."""

    table: str
    text: str

    @classmethod
    def of(cls, row: models.Model) -> "NewRow":
        """A model's row that isn't stored yet. Its columns hold no bytes: those have no form in JSON."""
        return cls(row._meta.db_table, canonical_text(row_values(row)))

    @property
    def hash(self) -> bytes:
        """SHA-256 as it enters the chain."""
        return written_row_hash(self.table, self.text)

    def with_entry(self, entry: int) -> str:
        return f'{self.text[:-1]},"entry":{entry}}}'


def insert_rows(rows: Sequence[NewRow], *, entry: int, using: str = "default") -> None:
    """Insert them, all as brought by one entry of the chain. Foreign keys among them are looked at when all are in."""
    texts: dict[str, list[str]] = defaultdict(list)
    for row in rows:
        texts[row.table].append(row.with_entry(entry))
    if not texts:
        return
    inserts = [
        f'INSERT INTO "{table}" SELECT * FROM json_populate_recordset(NULL::"{table}", %s)'  # noqa: S608 - our tables
        for table in texts
    ]
    first = [f"new_{place} AS ({insert})" for place, insert in enumerate(inserts[:-1])]
    sql = f"WITH {', '.join(first)} {inserts[-1]}" if first else inserts[-1]
    with connections[using].cursor() as cursor:
        cursor.execute(sql, [f"[{','.join(written)}]" for written in texts.values()])
