"""The report as a workbook (ECMA-376, through openpyxl's write-only mode): a tab a section, figures as figures.

Counts stand one a row, so that somebody can sort and sum them. Drawings are paper's and the page's.
"""

import io
import re
from collections.abc import Iterator, Sequence
from decimal import Decimal
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import override
from openpyxl import Workbook
from openpyxl.cell import WriteOnlyCell
from openpyxl.styles import Font
from openpyxl.utils import get_column_letter

from server.exports.formulas import harmless
from server.exports.sheet import NO_XML
from server.season_report.blocks import (
    Block,
    CountTable,
    Facts,
    Picture,
    Points,
    Report,
    Section,
    Subhead,
    Table,
    Value,
    Words,
)

LONGEST_NAME = 31  # of a tab, and these it may not hold
NOT_IN_NAMES = re.compile(r"[\[\]:*?/\\]")
WIDTHS = (22, 24, 18, 18, 16, 16, 16, 22, 22, 22)
BOLD, HEAD = Font(bold=True), Font(bold=True, size=14)
Line = Sequence[Any]


def report_sheet(report: Report) -> bytes:
    """The workbook."""
    book, written = Workbook(write_only=True), io.BytesIO()
    with override(report.language):
        names: set[str] = set()
        for at, section in enumerate(report.sections):
            sheet: Any = book.create_sheet(_name(section.title, names))
            for place, width in enumerate(WIDTHS, start=1):
                sheet.column_dimensions[get_column_letter(place)].width = width
            for line in _lines(sheet, report, section, is_first=at == 0):
                sheet.append(line)
        book.save(written)
    return written.getvalue()


def _name(title: str, taken: set[str]) -> str:
    """A tab's name: short, of signs that it may hold, and once."""
    plain = NOT_IN_NAMES.sub(" ", title)[:LONGEST_NAME].strip()
    name, number = plain, 2
    while name.casefold() in taken:
        name, number = f"{plain[: LONGEST_NAME - 3]} {number}", number + 1
    taken.add(name.casefold())
    return name


def _lines(sheet: Any, report: Report, section: Section, *, is_first: bool) -> Iterator[Line]:
    if is_first:
        yield [_cell(sheet, f"{report.title}: {report.subtitle}", HEAD)]
        yield [_cell(sheet, report.opening)]
        for term, value in report.facts:
            yield [_cell(sheet, term), _cell(sheet, value)]
        yield []
    yield [_cell(sheet, section.title, HEAD)]
    counted = [block for block in section.blocks if isinstance(block, CountTable)]
    for block in section.blocks:
        if not isinstance(block, CountTable):
            yield from _of_block(sheet, block)
    if counted:
        yield []
        yield from _counts(sheet, counted)


def _of_block(sheet: Any, block: Block) -> Iterator[Line]:
    match block:
        case Words():
            yield [_cell(sheet, block.text)]
        case Subhead():
            yield []
            yield [_cell(sheet, block.text, BOLD)]
        case Points():
            for item in block.items:
                yield [_cell(sheet, item)]
        case Facts():
            if block.title:
                yield []
                yield [_cell(sheet, block.title, BOLD)]
            for term, value in block.pairs:
                yield [_cell(sheet, term), _cell(sheet, value)]
        case Table():
            yield from _table(sheet, block)
        case Picture() | CountTable():
            return


def _table(sheet: Any, table: Table) -> Iterator[Line]:
    if table.titled:
        yield []
        yield [_cell(sheet, table.name, BOLD)]
    if not table.rows:
        yield [_cell(sheet, table.empty)]
        return
    yield [_cell(sheet, column.name, BOLD) for column in table.columns]
    for row in table.rows:
        yield [_cell(sheet, value) for value in row]


def _counts(sheet: Any, tables: Sequence[CountTable]) -> Iterator[Line]:
    """A row a reading; a week without one is not a row."""
    heads = (
        _("Building or yard"), _("Method"), _("Place"), *tables[0].heads, _("Count"), _("Part of the card"),
        _("At least"), _("Why no count"), _("Marks"),
    )  # fmt: skip
    yield [_cell(sheet, head, BOLD) for head in heads]
    for table in tables:
        for line in table.lines:
            for station, found in zip(table.stations, line.counts, strict=False):
                if found is not None:
                    values: list[Value] = [
                        table.place, table.method, station, line.taken_on, line.hung_on, line.days, found.count,
                        found.part, _("yes") if found.at_least else None, found.reason or None, found.marks or None,
                    ]  # fmt: skip
                    yield [_cell(sheet, value) for value in values]


def _cell(sheet: Any, value: Value, font: Font | None = None) -> Any:
    """Text is kept from being a formula; figures and days go as they are, which is many times faster than a cell."""
    if not isinstance(value, str):
        return float(value) if isinstance(value, Decimal) else value
    cell = WriteOnlyCell(sheet, NO_XML.sub("\N{REPLACEMENT CHARACTER}", harmless(value)))
    # Also where it spells one of a spreadsheet's errors, such as #N/A.
    cell.data_type = "s"
    if font is not None:
        cell.font = font
    return cell
