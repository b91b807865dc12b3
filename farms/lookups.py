"""`farm_id__any_of=ids`: a lookup for many ids at once, sent as one array.

`__in` makes a parameter of every id, which Django prepares, quotes and puts into the text one by one. With some
hundreds of farms to a query that cost more than the query itself.
"""

from collections.abc import Collection
from typing import Any
from uuid import UUID

from django.core.exceptions import EmptyResultSet
from django.db.backends.base.base import BaseDatabaseWrapper
from django.db.models import ForeignKey, Lookup, UUIDField
from django.db.models.sql.compiler import SQLCompiler


@UUIDField.register_lookup
@ForeignKey.register_lookup
class AnyOf(Lookup):
    """The column is one of these UUIDs; of none, it isn't, and the query needn't be made."""

    lookup_name = "any_of"
    prepare_rhs = False

    def as_sql(self, compiler: SQLCompiler, connection: BaseDatabaseWrapper) -> tuple[str, tuple[Any, ...]]:
        if not self.rhs:
            raise EmptyResultSet
        column, parameters = self.process_lhs(compiler, connection)
        return f"{column} = ANY(%s::uuid[])", (*parameters, array_of(self.rhs))


def array_of(ids: Collection[UUID]) -> str:
    """UUIDs as PostgreSQL reads an array of them.

    >>> array_of([UUID(int=1), UUID(int=2)])
    '{00000000000000000000000000000001,00000000000000000000000000000002}'
    """
    return f"{{{','.join([each.hex for each in ids])}}}"
