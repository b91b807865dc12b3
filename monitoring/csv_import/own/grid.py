"""From the bytes of a spreadsheet to cells of text: .xlsx, or text with commas, semicolons or tabs in any encoding.

Formulas are read as the values that the program stored beside them; nothing in a file is run. What a workbook unpacks
to is known before anything is unpacked, and no more rows and columns are looked at than are taken.
"""

import csv
import io
import re
import zipfile
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time
from typing import Any
from xml.etree.ElementTree import ParseError

from openpyxl import load_workbook
from openpyxl.utils.cell import range_boundaries
from openpyxl.utils.exceptions import InvalidFileException

from monitoring.csv_import.text import MEGABYTES, MOST_BYTES, MOST_COLUMNS
from monitoring.errors import (
    EmptyFile,
    FileTooLarge,
    NotATable,
    NotThisKind,
    TooManyColumns,
    TooManyRows,
    UnpacksTooMuch,
)
from monitoring.rules.table import MOST_ROWS

MOST_UNPACKED = 40  # MB
MOST_PARTS = 500
MOST_SHEETS = 30
SEPARATORS = (",", ";", "\t", "|")
SNIFFED = 40
LONGEST_CELL = 1_000
# Of all sheets together: a small file may hold millions of cells with nothing in them.
MOST_CELLS = 1_500_000
ZIP, OLD_EXCEL = b"PK\x03\x04", b"\xd0\xcf\x11\xe0"
MERGED = re.compile(rb'<(?:\w+:)?mergeCell\b[^>]*\bref="([A-Z]{1,3}[0-9]{1,7}:[A-Z]{1,3}[0-9]{1,7})"')
MOST_MERGED = 5_000


@dataclass(frozen=True)
class Grid:
    """One sheet: its name, and its rows of text, each as wide as the widest. A spreadsheet's row 1 is `rows[0]`.

    `first_1904`: its numbers of days count from 1904, as old Macintosh programs wrote them.
    """

    name: str
    rows: Sequence[Sequence[str]]
    first_1904: bool = False

    @property
    def width(self) -> int:
        return len(self.rows[0]) if self.rows else 0


def grids_of(content: bytes) -> list[Grid]:
    """The sheets of a file that hold anything; what it is tells its first bytes, not its name. Raises FileRefused."""
    if len(content) > MOST_BYTES:
        raise FileTooLarge(megabytes=MEGABYTES)
    if content.startswith(OLD_EXCEL):
        raise NotThisKind()
    grids = _workbook(content) if content.startswith(ZIP) else [_text(content)]
    found = [grid for grid in grids if grid.rows]
    if not found:
        raise EmptyFile()
    return found


# --- text ------------------------------------------------------------------------------------------------------------


def _text(content: bytes) -> Grid:
    text = _decoded(content)
    separator = _separator(text)
    try:
        rows = list(_no_more_cells(csv.reader(io.StringIO(text, newline=""), delimiter=separator), Counter()))
    except csv.Error as error:
        raise NotATable() from error
    return _grid("", rows)


def _decoded(content: bytes) -> str:
    """By its mark; else UTF-8 where it fits, else Windows-1252, which most programs in the West wrote before."""
    if content.startswith((b"\xff\xfe", b"\xfe\xff")):
        encodings = ["utf-16"]
    else:
        if b"\x00" in content:
            raise NotThisKind()
        encodings = ["utf-8-sig", "cp1252", "latin-1"]
    for encoding in encodings:
        try:
            return content.decode(encoding)
        except UnicodeDecodeError:
            continue
    raise NotThisKind()


def _separator(text: str) -> str:
    """The one that cuts most lines into the same number of cells, of several the one that cuts into more."""
    lines = [line for line in text.splitlines()[: 4 * SNIFFED] if line.strip()][:SNIFFED]

    def agreement(separator: str) -> tuple[int, int]:
        widths = Counter(len(row) for row in csv.reader(lines, delimiter=separator))
        width, alike = max(widths.items(), key=lambda each: (each[0] > 1, each[1], each[0]), default=(1, 0))
        return (alike if width > 1 else 0, width)

    try:
        return max(SEPARATORS, key=agreement)
    except csv.Error as error:
        raise NotATable() from error


# --- workbooks -------------------------------------------------------------------------------------------------------


def _workbook(content: bytes) -> list[Grid]:
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as packed:
            _check_unpacked(packed)
            return list(_sheets(content, packed))
    except (zipfile.BadZipFile, InvalidFileException, ParseError, KeyError, ValueError, OSError, EOFError) as error:
        raise NotThisKind() from error


def _check_unpacked(packed: zipfile.ZipFile) -> None:
    """What the parts say they unpack to holds: no more than that is read of any of them."""
    parts = packed.infolist()
    if len(parts) > MOST_PARTS or sum(each.file_size for each in parts) > MOST_UNPACKED * 1024 * 1024:
        raise UnpacksTooMuch(megabytes=MOST_UNPACKED)
    if "[Content_Types].xml" not in packed.namelist():
        raise NotThisKind()


def _sheets(content: bytes, packed: zipfile.ZipFile) -> Iterable[Grid]:
    book = load_workbook(io.BytesIO(content), read_only=True, data_only=True, keep_links=False)
    cells: Counter[str] = Counter()
    try:
        for sheet in book.worksheets[:MOST_SHEETS]:
            limits = {"max_row": MOST_ROWS + 2, "max_col": MOST_COLUMNS + 1}
            found = _no_more_cells(sheet.iter_rows(values_only=True, **limits), cells)
            rows = [[_cell(value) for value in row] for row in found]
            path = str(sheet._worksheet_path)  # type: ignore[attr-defined]  # noqa: SLF001 - the way to a sheet's own part
            _fill_merged(rows, packed, path)
            yield _grid(sheet.title, rows, first_1904=book.epoch.year == 1904)
    finally:
        book.close()


def _no_more_cells(rows: Iterable[Any], cells: Counter[str]) -> Iterator[Any]:
    """Rows, as long as they have no more cells than are taken; `cells` counts over all sheets. Raises TooManyRows."""
    for row in rows:
        cells["all"] += len(row) + 1
        if cells["all"] > MOST_CELLS:
            raise TooManyRows(rows=f"{MOST_ROWS:,}")
        yield row


def _cell(value: Any) -> str:
    """A value as text: days as 2026-06-30, whole numbers without a point."""
    if value is None:
        return ""
    if isinstance(value, datetime):
        at_midnight = value.time() == time()
        return value.date().isoformat() if at_midnight else value.isoformat(sep=" ", timespec="seconds")
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, float) and value.is_integer() and abs(value) < 1e15:
        return str(int(value))
    return str(value)[:LONGEST_CELL].strip()


def _fill_merged(rows: list[list[str]], packed: zipfile.ZipFile, path: str) -> None:
    """Write what a merged cell says into every cell that it covers: a date beside five cards is of all five."""
    for number, found in enumerate(MERGED.finditer(packed.read(path.lstrip("/")))):
        if number >= MOST_MERGED:
            return
        left, top, right, bottom = (edge or 0 for edge in range_boundaries(found[1].decode()))
        # Only down: a title across the sheet is no value of its columns.
        if left != right or top > len(rows) or left > len(rows[top - 1]):
            continue
        for row in rows[top : min(bottom, len(rows))]:
            if left <= len(row):
                row[left - 1] = rows[top - 1][left - 1]


def _grid(name: str, rows: list[list[str]], *, first_1904: bool = False) -> Grid:
    """Rows of one width, without empty columns at the right and empty rows at the end. Raises TooMany..."""
    stripped = [[cell.strip()[:LONGEST_CELL] for cell in row] for row in rows]
    width = max((place + 1 for row in stripped for place, cell in enumerate(row) if cell), default=0)
    while stripped and not any(stripped[-1]):
        stripped.pop()
    if width > MOST_COLUMNS:
        raise TooManyColumns(most=MOST_COLUMNS)
    if len(stripped) > MOST_ROWS + 1:
        raise TooManyRows(rows=f"{MOST_ROWS:,}")
    return Grid(name, [(row + [""] * width)[:width] for row in stripped], first_1904)
