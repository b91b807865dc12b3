"""From bytes to rows of text: byte-order marks, separators, what isn't text at all."""

import csv
import io
import re
from collections.abc import Sequence
from dataclasses import dataclass

from monitoring.csv_import.headers import column_named
from monitoring.errors import EmptyFile, FileTooLarge, HoldsNul, NotATable, NotUtf8, TooManyColumns, TooManyRows
from monitoring.rules.table import MOST_ROWS

MEGABYTES = 5
MOST_BYTES = MEGABYTES * 1024 * 1024
SEPARATORS = (",", ";", "\t")
# There are twenty to know; the rest of a spreadsheet isn't of readings.
MOST_COLUMNS = 100
LONGEST_LINE = 10_000


@dataclass(frozen=True)
class Sheet:
    """A file's cells by column, without blank rows; rows are numbered as a spreadsheet does (the names are row 1).

    `spare` are the places of rows with cells beyond the last name.
    """

    headers: list[str]
    numbers: Sequence[int]
    columns: list[Sequence[str]]
    spare: Sequence[int] = ()


def sheet_of(content: bytes) -> Sheet:
    """The cells of a file. Raises FileTooLarge, NotUtf8, HoldsNul, NotATable, EmptyFile, TooManyRows or -Columns."""
    text = _decoded(content)
    first_line = re.split(r"[\r\n]", text, maxsplit=1)[0]
    try:
        separator = _separator(first_line[:LONGEST_LINE])
        return even_sheet(text, separator) or any_sheet(text, separator)
    except csv.Error as error:
        raise NotATable() from error


def check_size(content: bytes) -> None:
    """Raises FileTooLarge."""
    if len(content) > MOST_BYTES:
        raise FileTooLarge(megabytes=MEGABYTES)


def even_sheet(text: str, separator: str) -> Sheet | None:
    """The cells of a file without quotation marks and blank rows whose rows are all of one width; None for others.

    Three times as fast as reading row by row: all cells are split at once.
    """
    body = text.replace("\r\n", "\n").rstrip("\n")
    if '"' in body or "\r" in body:
        return None
    lines = body.split("\n", MOST_ROWS + 2)
    widths = {line.count(separator) for line in lines}
    if len(widths) > 1 or len(lines) < 2:
        return None
    width = widths.pop() + 1
    _check(width, len(lines) - 1)
    cells = body.replace("\n", separator).split(separator)
    columns = [cells[place::width] for place in range(width)]
    if any(not cell.strip() for cell in set(columns[0])):
        return None
    return Sheet([column[0].strip() for column in columns], range(2, len(lines) + 1), [each[1:] for each in columns])


def any_sheet(text: str, separator: str) -> Sheet:
    """The cells of any file. A row with too few of them has empty ones; of one with too many the first are kept.

    Raises EmptyFile, TooManyColumns, TooManyRows or csv.Error.
    """
    reader = enumerate(csv.reader(io.StringIO(text, newline=""), delimiter=separator), start=1)
    headers = next(([header.strip() for header in row] for _, row in reader if "".join(row).strip()), [])
    width = len(headers)
    _check(width, 1)
    numbers: list[int] = []
    rows: list[list[str]] = []
    spare: list[int] = []
    for number, row in reader:
        # No function of ours for each row: of empty ones there may be millions.
        if not row or (not row[0].strip() and not "".join(row).strip()):
            continue
        if len(row) > width and "".join(row[width:]).strip():
            spare.append(len(rows))
        numbers.append(number)
        rows.append(row if len(row) == width else (row[:width] + [""] * width)[:width])
        if len(rows) > MOST_ROWS:
            break
    _check(width, len(rows))
    if not rows:
        raise EmptyFile()
    return Sheet(headers, numbers, list(zip(*rows, strict=True)), spare)


def _check(width: int, rows: int) -> None:
    if width > MOST_COLUMNS:
        raise TooManyColumns(most=MOST_COLUMNS)
    if rows > MOST_ROWS:
        raise TooManyRows(rows=f"{MOST_ROWS:,}")


def _decoded(content: bytes) -> str:
    check_size(content)
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        raise NotUtf8(byte=f"0x{content[error.start]:02X}", line=line) from error
    if "\x00" in text:
        raise HoldsNul(line=text.count("\n", 0, text.index("\x00")) + 1)
    return text


def _separator(first_line: str) -> str:
    """The one of comma, semicolon and tab that makes most sense of the names of the columns."""

    def names_known(separator: str) -> int:
        cells = next(csv.reader([first_line], delimiter=separator), [])
        return sum(column_named(cell) is not None for cell in cells)

    return max(SEPARATORS, key=names_known)
