"""An XLSX workbook, written row by row to a temporary file (ECMA-376, through openpyxl's write-only mode)."""

import re
from collections.abc import Iterable, Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import IO, Any
from uuid import UUID

from django.utils.translation import gettext_lazy as _
from openpyxl import Workbook
from openpyxl.cell import WriteOnlyCell
from openpyxl.utils import get_column_letter

from farms.errors import Invalid
from server.exports.columns import Column, Kind
from server.exports.formulas import harmless
from server.exports.tables import Rows, Table

# A sheet could hold 1,048,575; so many take minutes to write, and no browser waits that long.
MOST_ROWS = 100_000
AT_ONCE = 500
# What XML 1.0 has no place for.
NO_XML = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\ud800-\udfff\ufffe\uffff]")
WIDTHS = {Kind.ID: 38, Kind.TEXT: 24, Kind.MOMENT: 28, Kind.WHOLES: 24}


class TooManyRows(Invalid):
    code = "too_many_rows_for_a_sheet"
    message = _(
        "A sheet holds {most} rows, and this has {rows}. Take CSV or Parquet, or fewer days by since and until."
    )


def write_sheet(table: Table, rows: Rows, file: IO[bytes]) -> None:
    """Write the workbook. Raises TooManyRows."""
    number = rows.count()
    if number > MOST_ROWS:
        raise TooManyRows(most=MOST_ROWS, rows=number)
    book = Workbook(write_only=True)
    sheet: Any = book.create_sheet(table.name)
    sheet.freeze_panes = "A2"
    for place, column in enumerate(table.columns, start=1):
        sheet.column_dimensions[get_column_letter(place)].width = WIDTHS.get(column.kind, 14)
    try:
        sheet.append([harmless(column.name) for column in table.columns])
        for row in rows.iterator(chunk_size=AT_ONCE):
            sheet.append(_cells(sheet, table.columns, row))
        book.save(file)
    finally:
        # Where something fails, what openpyxl wrote on the way would stay on the disk.
        Path(sheet._writer.out).unlink(missing_ok=True)  # noqa: SLF001 - it has no public name


def _cells(sheet: Any, columns: Sequence[Column], row: Iterable[Any]) -> list[Any]:
    return [
        None if value is None else _cell(sheet, column.kind, value) for column, value in zip(columns, row, strict=True)
    ]


def _cell(sheet: Any, kind: Kind, value: Any) -> Any:
    if kind is Kind.TEXT:
        cell = WriteOnlyCell(sheet, NO_XML.sub("\N{REPLACEMENT CHARACTER}", harmless(value)))
        # Also where it spells one of a spreadsheet's errors, such as #N/A.
        cell.data_type = "s"
        return cell
    if kind is Kind.WHOLES:
        return " ".join(map(str, value))
    return str(value) if isinstance(value, UUID) else moment_text(value) if isinstance(value, datetime) else value


def moment_text(moment: datetime) -> str:
    """In UTC, as the other formats write it: a spreadsheet's own times know no zone."""
    return f"{moment.astimezone(UTC).replace(tzinfo=None).isoformat(timespec='microseconds')}Z"
