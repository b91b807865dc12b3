"""Many rows in one INSERT, sent as columns: numbers go to PostgreSQL as they lie in memory, not value by value.

Each column is one array in PostgreSQL's binary form, out of which the INSERT takes its rows by their number. Row
security holds for it, as for any INSERT; COPY into the table would be refused.
"""

from collections.abc import Mapping
from typing import Any
from uuid import UUID

import numpy as np
import psycopg
from django.db import connections
from numpy.typing import NDArray
from psycopg.abc import Buffer
from psycopg.adapt import Dumper
from psycopg.postgres import types
from psycopg.pq import Format

NO_ID = UUID(int=0)
# Between JSON values: a control character, which JSON writes as an escape.
BETWEEN = "\x1e"


class JsonTexts(list[str]):
    """A column of JSON values, each written as text."""


class Ids(list[UUID | None]):
    """A column of UUIDs; None is NULL."""


# An array of NumPy is a column of numbers (NaN is NULL), of marks, of words, or of bytes (kind V).
Column = NDArray[Any] | JsonTexts | Ids


class _Array(bytes):
    """An array in PostgreSQL's binary form; each type has a class, since psycopg tells parameters apart by it."""


class _Int8s(_Array): ...


class _Float8s(_Array): ...


class _Bools(_Array): ...


class _Uuids(_Array): ...


class _Byteas(_Array): ...


# By NumPy's kind: the class, the type of PostgreSQL, and the form in which a value is sent.
KINDS: Mapping[str, tuple[type[_Array], str, str]] = {
    "i": (_Int8s, "int8", ">i8"),
    "f": (_Float8s, "float8", ">f8"),
    "b": (_Bools, "bool", "?"),
    "V": (_Byteas, "bytea", ""),
    "uuid": (_Uuids, "uuid", "V16"),
}


def insert_columns(
    table: str, columns: Mapping[str, Column], same: Mapping[str, object], *, using: str = "default"
) -> None:
    """Insert a row for each place of the columns; `same` is what all rows have. A row without an `id` gets one."""
    if not len(next(iter(columns.values()))):
        return
    sent = _Sent(dict(same))
    values = {"id": "uuidv7()"} | {name: f"%({name})s" for name in same}
    values |= {name: sent.value(name, column) for name, column in columns.items()}
    sql = f'INSERT INTO "{table}" ({", ".join(values)}) SELECT {", ".join(values.values())} FROM {sent.rows(columns)}'  # noqa: S608
    connection = connections[using]
    connection.ensure_connection()
    # Not Django's cursor, which puts parameters in by itself.
    with psycopg.Cursor(connection.connection) as cursor:
        for kind, dumper in DUMPERS.items():
            cursor.adapters.register_dumper(kind, dumper)
        cursor.execute(sql, sent.parameters)


class _Sent:
    """The parameters of an INSERT, and how it finds the value of row i in them."""

    def __init__(self, parameters: dict[str, object]) -> None:
        self.parameters = parameters

    def value(self, name: str, column: Column) -> str:
        if isinstance(column, JsonTexts):
            self.parameters[name] = BETWEEN.join(column)
            return f"r.{name}::jsonb"
        if isinstance(column, Ids):
            ids = np.frombuffer(b"".join([(each or NO_ID).bytes for each in column]), "V16")
            return f"NULLIF({self._element(name, ids, 'uuid')}, '{NO_ID}')"
        if column.dtype.kind == "U":
            words, which = np.unique(column, return_inverse=True)
            self.parameters[f"{name}_words"] = words.tolist()
            return f"(%({name}_words)s::text[])[{self._element(name, which + 1, 'i')}]"
        value = self._element(name, column, column.dtype.kind)
        return f"NULLIF({value}, 'NaN')" if column.dtype.kind == "f" else value

    def rows(self, columns: Mapping[str, Column]) -> str:
        """One row a place, with its number and its JSON values."""
        self.parameters["number_of_rows"] = len(next(iter(columns.values())))
        listed = [name for name, column in columns.items() if isinstance(column, JsonTexts)]
        functions = ["generate_series(1, %(number_of_rows)s)"]
        # One text cut into values takes less than half the time of one document taken apart.
        functions += [f"string_to_table(%({name})s, '{BETWEEN}')" for name in listed]
        return f"ROWS FROM ({', '.join(functions)}) AS r({', '.join(['i', *listed])})"

    def _element(self, name: str, values: NDArray[Any], kind: str) -> str:
        made, of, form = KINDS[kind]
        self.parameters[name] = made(_binary(values.astype(form) if form else values, types[of].oid))
        return f"(%({name})s)[r.i]"


def _binary(values: NDArray[Any], oid: int) -> bytes:
    """A one-dimensional array: its head, then the length and the bytes of each element."""
    # Dimensions, whether NULLs are among them, the elements' type, how many, and the number of the first.
    head = np.array([1, 0, oid, len(values), 1], ">i4")
    elements = np.empty(len(values), [("length", ">i4"), ("value", values.dtype)])
    elements["length"], elements["value"] = values.dtype.itemsize, values
    return head.tobytes() + elements.tobytes()


def _dumper(of: str) -> type[Dumper]:
    class AsItLies(Dumper):
        format = Format.BINARY
        oid = types[of].array_oid

        def dump(self, obj: Any) -> Buffer:
            return bytes(obj)

    return AsItLies


DUMPERS = {made: _dumper(of) for made, of, _ in KINDS.values()}
