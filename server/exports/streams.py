"""CSV and NDJSON, made by PostgreSQL row by row and handed on in pieces: the same memory for ten rows and a million.

`COPY (SELECT ...)` and not a copy of the table: of a partitioned table that gives nothing, and row security holds here.
"""

from collections.abc import Callable, Iterable, Iterator
from uuid import UUID

from django.db import connection, connections, transaction
from psycopg import sql

from farms.access import Need, Who, farm_for
from farms.models import ApiToken
from farms.tenancy.acting import act_for_token, act_for_user
from server.exports.columns import Column, Kind
from server.exports.formulas import PATTERN, harmless
from server.exports.tables import Rows, Table

PIECE = 64 * 1024  # bytes
MOMENT = """to_char({0} AT TIME ZONE 'UTC', 'YYYY-MM-DD"T"HH24:MI:SS.US"Z"')"""
PLAIN = "{0}"
# How a value of each kind is written; what isn't named is written as PostgreSQL does.
IN_JSON = {Kind.MOMENT: MOMENT, Kind.CLOCK: "to_char({0}, 'HH24:MI:SS')"}
IN_CSV = IN_JSON | {
    Kind.TEXT: "CASE WHEN {0} ~ {1} THEN '''' || {0} ELSE {0} END",
    Kind.DAY: "to_char({0}, 'YYYY-MM-DD')",
    Kind.YES_NO: "{0}::text",
    Kind.WHOLES: "array_to_string({0}, ' ')",
}
COPY_CSV = "COPY (SELECT {values} FROM ({rows}) AS t ({names})) TO STDOUT (FORMAT csv)"
# In JSON no control character stands as itself, so with these for quote and delimiter every line comes as it is.
COPY_JSON = (
    "COPY (SELECT row_to_json(j)::text FROM (SELECT {values} FROM ({rows}) AS t ({names})) AS j)"
    " TO STDOUT (FORMAT csv, QUOTE E'\\x01', DELIMITER E'\\x02')"
)


def later(
    who: Who, farm_id: UUID, pieces: Callable[[], Iterable[bytes]], *, needs: Need = Need.READ, snapshot: bool = False
) -> Iterator[bytes]:
    """The pieces, read in a transaction of their own: the request's has ended when a server asks for the body.

    The door is asked once more, so that who was let out meanwhile gets a broken answer and not an empty table. Whatever
    fails here leaves the generator, and the server breaks the connection off: no half table ends as if it were whole.
    `snapshot`: all is read as of one moment.
    """
    with transaction.atomic():
        if snapshot:
            begin_snapshot("default")
        if isinstance(who, ApiToken):
            act_for_token(who.farm_id, who.id)
        else:
            act_for_user(who.id)
        farm_for(who, farm_id, needs=needs)
        yield from pieces()


def begin_snapshot(using: str) -> None:
    """Read as of one moment, until the transaction ends. Inside another one (tests) it is that one's to say."""
    if not connections[using].savepoint_ids:
        with connections[using].cursor() as cursor:
            cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ")


def csv_of(table: Table, rows: Rows) -> Iterator[bytes]:
    """A line of names, then a line a row; RFC 4180 but for the lines' ends, UTF-8, empty cells for what is missing."""
    yield (",".join(harmless(column.name) for column in table.columns) + "\n").encode()
    yield from _copied(COPY_CSV, table.columns, rows, IN_CSV)


def ndjson_of(table: Table, rows: Rows) -> Iterator[bytes]:
    """A JSON object a line; null for what is missing, text as it is."""
    yield from _copied(COPY_JSON, table.columns, rows, IN_JSON)


def _copied(form: str, columns: Iterable[Column], rows: Rows, written: dict[Kind, str]) -> Iterator[bytes]:
    names = [sql.Identifier(column.name) for column in columns]
    values = [
        sql.SQL(written.get(column.kind, PLAIN) + " AS {2}").format(name, sql.Literal(PATTERN), name)
        for column, name in zip(columns, names, strict=True)
    ]
    selected = connection.ops.compose_sql(*rows.query.sql_with_params())
    statement = sql.SQL(form).format(
        values=sql.SQL(", ").join(values), rows=sql.SQL(selected), names=sql.SQL(", ").join(names)
    )
    with connection.cursor() as cursor, cursor.copy(statement) as lines:
        yield from gathered(lines)


def gathered(lines: Iterable[bytes | memoryview]) -> Iterator[bytes]:
    """Lines in pieces of about 64 kB: a write a line would cost more than the line."""
    held: list[bytes | memoryview] = []
    size = 0
    for line in lines:
        held.append(line)
        size += len(line)
        if size >= PIECE:
            yield b"".join(held)
            held, size = [], 0
    if held:
        yield b"".join(held)
