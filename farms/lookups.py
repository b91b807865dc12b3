"""`farm_id__any_of=array_of(ids)`: a lookup for many ids at once, sent as one array.

`__in` makes a parameter of every id, which Django prepares, quotes and puts into the text one by one. With some
hundreds of farms to a query that cost more than the query itself.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any
from uuid import UUID

from django.core.exceptions import EmptyResultSet
from django.db.backends.base.base import BaseDatabaseWrapper
from django.db.models import ForeignKey, Lookup, UUIDField
from django.db.models.sql.compiler import SQLCompiler


@dataclass(frozen=True)
class IdArray:
    """UUIDs as PostgreSQL reads an array of them; not iterable, so Django doesn't look at each."""

    text: str
    number: int


def array_of(ids: Iterable[UUID]) -> IdArray:
    """The array of these UUIDs.

    >>> array_of([UUID(int=1), UUID(int=2)]).text
    '{00000000000000000000000000000001,00000000000000000000000000000002}'
    """
    texts = [each.hex for each in ids]
    return IdArray(f"{{{','.join(texts)}}}", len(texts))


@UUIDField.register_lookup
@ForeignKey.register_lookup
class AnyOf(Lookup):
    """The column is one of these UUIDs (`array_of`); of none, it isn't, and the query needn't be made."""

    lookup_name = "any_of"
    prepare_rhs = False

    def as_sql(self, compiler: SQLCompiler, connection: BaseDatabaseWrapper) -> tuple[str, tuple[Any, ...]]:
        ids: IdArray = self.rhs
        if not ids.number:
            raise EmptyResultSet
        column, parameters = self.process_lhs(compiler, connection)
        return f"{column} = ANY(%s::uuid[])", (*parameters, ids.text)
