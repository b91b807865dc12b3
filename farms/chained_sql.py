"""Rows hashed again by PostgreSQL itself, where their columns are of kinds that it writes as canonical JSON does.

For a check of millions of rows: nothing but the hashes leaves the database. A test holds both ways equal, column by
column; a table with a kind of column that isn't here is read and hashed in Python (farms.chained_rows).
"""

from collections.abc import Iterable, Iterator
from functools import cache
from typing import Any
from uuid import UUID

from django.contrib.postgres.fields import ArrayField
from django.db import connections, models

from farms.chained import ChainedTable
from farms.lookups import array_of

QUOTED = """'"' || {0} || '"'"""
WHOLE, TEXT = "{0}::text", "to_json({0}::text)::text"
MOMENT = """'"' || to_char({0} AT TIME ZONE 'UTC', 'YYYY-MM-DD"T"HH24:MI:SS.US') || '+00:00"'"""
CLOCK = """'"' || replace(to_char('2000-01-01'::date + {0}, 'HH24:MI:SS.US'), '.000000', '') || '"'"""
WRITTEN: dict[str, str] = {
    "UUIDField": QUOTED.format("{0}::text"),
    **dict.fromkeys(("CharField", "TextField"), TEXT),
    **dict.fromkeys(("IntegerField", "BigIntegerField", "PositiveIntegerField", "PositiveSmallIntegerField"), WHOLE),
    "BooleanField": WHOLE,
    "DateField": QUOTED.format("to_char({0}, 'YYYY-MM-DD')"),
    "DateTimeField": MOMENT,
    "TimeField": CLOCK,
}
HASH = 32


@cache
def statement_of(table: ChainedTable) -> str | None:
    """The statement that gives each entry's row hashes of a table; None where a column is of another kind."""
    if table.how.salted or table.how.ends or table.how.entry != "entry":
        return None
    parts: list[str] = []
    for name in sorted(table.columns):
        written = _written(table.model, name)
        if written is None or (not parts and name in table.younger):
            return None
        column, mark = f'"{name}"', "," if parts else ""
        told = written.format(column)
        if name in table.younger:
            parts.append(f"""coalesce('{mark}"{name}":' || {told}, '')""")
        else:
            parts.append(f"""'{mark}"{name}":' || coalesce({told}, 'null')""")
    text = f"""'{table.table}' || chr(10) || '{{' || {" || ".join(parts)} || '}}'"""
    return (
        f"SELECT farm_id, entry, string_agg(sha256(convert_to({text}, 'UTF8')), ''::bytea)"  # noqa: S608 - our names
        f' FROM "{table.table}" WHERE farm_id = ANY(%s::uuid[]) GROUP BY farm_id, entry'
    )


def hashes_in_sql(
    statement: str, farm_ids: Iterable[UUID], *, using: str = "default"
) -> Iterator[tuple[UUID, int, list[bytes]]]:  # fmt: skip
    """By farm and entry the hashes of a table's rows, in no order."""
    with connections[using].cursor() as cursor:
        cursor.execute(statement, [array_of(farm_ids).text])
        for farm_id, entry, joined in cursor:
            every = bytes(joined)
            yield farm_id, entry, [every[at : at + HASH] for at in range(0, len(every), HASH)]


def _written(model: type[models.Model], attname: str) -> str | None:
    """How PostgreSQL writes a column as canonical JSON does, with {0} for its name."""
    field: Any = next(each for each in model._meta.concrete_fields if each.attname == attname)
    if field.is_relation:
        field = field.target_field
    if isinstance(field, ArrayField):
        return "array_to_json({0})::text" if WRITTEN.get(field.base_field.get_internal_type()) == WHOLE else None
    if isinstance(field, models.DecimalField):
        return QUOTED.format("{0}::text") if field.decimal_places == 4 else None
    return WRITTEN.get(field.get_internal_type())
