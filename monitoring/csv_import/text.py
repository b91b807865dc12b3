"""From bytes to rows of text: byte-order marks, separators, what isn't text at all."""

import csv
import io
import re
from collections.abc import Sequence
from dataclasses import dataclass

from monitoring.csv_import.headers import column_named
from monitoring.errors import EmptyFile, FileTooLarge, HoldsNul, NotATable, NotUtf8, TooManyRows
from monitoring.rules.table import MOST_ROWS

MEGABYTES = 5
MOST_BYTES = MEGABYTES * 1024 * 1024
SEPARATORS = (",", ";", "\t")


@dataclass(frozen=True)
class Sheet:
    """A file's cells: the names of its columns, and its rows, numbered as a spreadsheet does (the names are row 1)."""

    headers: list[str]
    numbers: list[int]
    rows: list[list[str]]


def sheet_of(content: bytes) -> Sheet:
    """The cells of a file. Raises FileTooLarge, NotUtf8, HoldsNul, NotATable, EmptyFile or TooManyRows."""
    text = _decoded(content)
    first = re.split(r"[\r\n]", text, maxsplit=1)[0]
    try:
        reader = csv.reader(io.StringIO(text, newline=""), delimiter=_separator(first))
        found = [(number, row) for number, row in enumerate(reader, start=1) if not _is_blank(row)]
    except csv.Error as error:
        raise NotATable() from error
    if len(found) < 2:
        raise EmptyFile()
    if len(found) - 1 > MOST_ROWS:
        raise TooManyRows(rows=f"{MOST_ROWS:,}")
    numbers, rows = zip(*found, strict=True)
    return Sheet([header.strip() for header in rows[0]], list(numbers[1:]), list(rows[1:]))


def _decoded(content: bytes) -> str:
    if len(content) > MOST_BYTES:
        raise FileTooLarge(megabytes=MEGABYTES)
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


def _is_blank(row: Sequence[str]) -> bool:
    text = "".join(row)
    return not text or text.isspace()
