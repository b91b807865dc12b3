"""A Parquet file, written group of rows by group of rows to a temporary file."""

from collections.abc import Iterator
from itertools import islice
from typing import IO, Any

import pyarrow as pa
from pyarrow import parquet

from server.exports.columns import Column, Kind
from server.exports.tables import Rows, Table

ROWS_A_GROUP = 10_000
TYPES = {
    Kind.ID: pa.string(), Kind.TEXT: pa.string(), Kind.WORD: pa.string(), Kind.WHOLE: pa.int64(),
    Kind.NUMBER: pa.float64(), Kind.DAY: pa.date32(), Kind.MOMENT: pa.timestamp("us", tz="UTC"),
    Kind.CLOCK: pa.time64("us"), Kind.YES_NO: pa.bool_(), Kind.WHOLES: pa.list_(pa.int64()),
}  # fmt: skip


def write_parquet(table: Table, rows: Rows, file: IO[bytes]) -> None:
    """Write the file: null for what is missing, text as it is, each column's meaning in its metadata."""
    schema = pa.schema(
        [pa.field(column.name, TYPES[column.kind], not column.always, _told(column)) for column in table.columns],
        {b"title": table.name.encode(), b"description": table.says.encode()},
    )
    waiting = rows.iterator(chunk_size=2000)
    with parquet.ParquetWriter(file, schema) as writer:
        while (group := _group(table, schema, waiting)) is not None:
            writer.write_batch(group)


def _told(column: Column) -> dict[bytes, bytes]:
    return {b"description": column.says.encode()}


def _group(table: Table, schema: pa.Schema, waiting: Iterator[Any]) -> pa.RecordBatch | None:
    """The next rows as columns; the rows themselves are let go of before the ones after them are read."""
    group = list(islice(waiting, ROWS_A_GROUP))
    return pa.record_batch(_arrays(table, group), schema=schema) if group else None


def _arrays(table: Table, group: list[Any]) -> list[Any]:
    columns = zip(table.columns, zip(*group, strict=True), strict=True)
    return [
        pa.array([None if value is None else str(value) for value in values], pa.string())
        if column.kind is Kind.ID
        else pa.array(values, TYPES[column.kind])
        for column, values in columns
    ]
