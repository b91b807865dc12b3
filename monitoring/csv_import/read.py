"""From a file to a table of readings, column by column: each different text of a column is looked at once."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from itertools import chain
from typing import Any

from django.utils.translation import gettext_lazy as _

from monitoring.csv_import import cells
from monitoring.csv_import.days import ORDERS, day_parser
from monitoring.csv_import.headers import columns_of
from monitoring.csv_import.text import Sheet, sheet_of
from monitoring.models.reading import How, NoCount
from monitoring.rules.cells import KINDS, WrongCell, words
from monitoring.rules.cells import device as check_device
from monitoring.rules.cells import sides as check_sides
from monitoring.rules.stations import MOST_STATIONS, method_named
from monitoring.rules.table import Fault, ReadingTable, fault_of, finished_table

PARSERS: dict[str, Callable[[str], Any]] = {
    "id": cells.identity,
    "station": cells.station,
    "count": cells.count_cell,
    "reason": cells.reason,
    "fraction": cells.part,
    "how": cells.how,
    "cups": cells.cups,
    "at_least": lambda text: bool(cells.yes_or_no(text)),
    "animals": cells.animals,
    "sides": cells.small_number(check_sides, None),
    "pen": words,
    "time_of_day": cells.moment_of_day,
    "weather": words,
    "bunching": cells.yes_or_no,
    "sprayed": cells.yes_or_no,
    "device": cells.small_number(check_device, 1),
}
DAYS = ("hung_on", "taken_on")
MAY_HOLD_A_COUNT: dict[str, Any] = {
    "count": cells.CountCell(), "cups": None, "animals": None, "reason": "", "at_least": False, "how": "",
}  # fmt: skip
TOO_MANY_CELLS = _("This row has more cells than the first line has names. Delete what stands beyond them.")
TWO_COUNTS = _("This row gives its count twice. Keep one of them.")
TWO_REASONS = _("This row gives two reasons why there is no count. Keep one of them.")
NO_METHOD = _("Say card, trap or leg count.")
NO_NUMBER = _("Give the number of the card or trap.")


@dataclass
class Reading:
    """A file while it is read: its columns as text, the values found so far, and what is wrong."""

    columns: dict[str, Sequence[str]]
    names: dict[str, str]
    number: int
    found: dict[str, list[Any]] = field(default_factory=dict)
    faults: list[Fault] = field(default_factory=list)

    def refuse(self, place: int, column: str, code: str, reason: Any) -> None:
        text = self.columns[column][place] if column in self.columns else ""
        self.faults.append(fault_of(place, column, WrongCell(code, reason), text))


def read_csv(content: bytes, *, order: str | None = None) -> ReadingTable:
    """The readings of a file. `order` says whether the day or the month comes first in dates such as 6/1/2026.

    Raises what is wrong with the file as a whole (farms.errors.Invalid or TooLarge); bad cells travel in the table, and
    come out of services.record_table with everything else that is wrong.
    """
    if order is not None and order not in ORDERS:
        raise ValueError(f"order is one of {', '.join(ORDERS)}, or None.")
    sheet = sheet_of(content)
    reading = _columns(sheet)
    _read_days(reading, order)
    for name, parse in PARSERS.items():
        if name in reading.columns:
            reading.found[name] = _parsed(reading, name, parse)
    if "station" not in reading.columns:
        reading.found["station"] = _stations(reading)
    _put_counts_together(reading)
    found = {
        name: reading.found.get(name) or [kind.absent] * reading.number for name, kind in KINDS.items()
    }  # fmt: skip
    return finished_table(found, rows=sheet.numbers, faults=reading.faults, pointer="/rows", names=reading.names)


def _columns(sheet: Sheet) -> Reading:
    """The cells turned into columns. A row with cells to spare is wrong, one with too few has empty ones."""
    width = len(sheet.headers)
    uneven = [place for place, row in enumerate(sheet.rows) if len(row) != width]
    spare = [place for place in uneven if any(cell.strip() for cell in sheet.rows[place][width:])]
    for place in uneven:
        row = sheet.rows[place]
        sheet.rows[place] = (row + [""] * width)[:width]
    columns = list(zip(*sheet.rows, strict=True))
    filled = [any(text.strip() for text in set(column)) for column in columns]
    places = columns_of(sheet.headers, filled)
    names = {column: sheet.headers[place] for column, place in places.items()}
    reading = Reading({column: columns[place] for column, place in places.items()}, names, len(sheet.rows))
    for place in spare:
        reading.refuse(place, "", "too_many_cells", TOO_MANY_CELLS)
    return reading


def _read_days(reading: Reading, order: str | None) -> None:
    texts = set(chain.from_iterable(reading.columns.get(name, ()) for name in DAYS))
    shown = ", ".join(reading.names[name] for name in DAYS if name in reading.names)
    parse = day_parser(texts, shown, order)
    for name in DAYS:
        if name in reading.columns:
            reading.found[name] = _parsed(reading, name, parse)


def _parsed(reading: Reading, name: str, parse: Callable[[str], Any]) -> list[Any]:
    """The values of a column; None where a text is wrong."""
    column = reading.columns[name]
    known: dict[str, Any] = {}
    wrong: dict[str, WrongCell] = {}
    for text in set(column):
        try:
            known[text] = parse(text)
        except WrongCell as error:
            known[text], wrong[text] = KINDS[name].absent if name in KINDS else None, error
    if wrong:
        reading.faults += [
            fault_of(place, name, wrong[text], text) for place, text in enumerate(column) if text in wrong
        ]
    return [known[text] for text in column]


def _stations(reading: Reading) -> list[Any]:
    """Stations from a column with the method and one with the number."""

    def method(text: str) -> str:
        found = method_named(text)
        if found is None:
            raise WrongCell("not_a_station", NO_METHOD)
        return found

    def number(value: int) -> int:
        if not 1 <= value <= MOST_STATIONS:
            raise WrongCell("not_a_station", NO_NUMBER)
        return value

    numbers = _parsed(reading, "number", cells.small_number(number, None))
    methods = _parsed(reading, "method", method)
    return [(name, digits) if name and digits else None for name, digits in zip(methods, numbers, strict=True)]


def _put_counts_together(reading: Reading) -> None:
    """One count, or one reason, from all the columns that may hold it."""
    given = [reading.found.pop(name, [absent] * reading.number) for name, absent in MAY_HOLD_A_COUNT.items()]
    known: dict[tuple[Any, ...], cells.CountCell | WrongCell] = {}
    keys = list(zip(*given, strict=True))
    for key in set(keys):
        try:
            known[key] = _together(*key)
        except WrongCell as error:
            known[key] = error
    wrong = {fault.place for fault in reading.faults}
    together = []
    for place, key in enumerate(keys):
        cell = known[key]
        if isinstance(cell, WrongCell):
            column = next(name for name in MAY_HOLD_A_COUNT if name in reading.columns)
            reading.faults += [] if place in wrong else [fault_of(place, column, cell, reading.columns[column][place])]
            cell = cells.CountCell()
        together.append(cell)
    for name in ("count", "reason", "animals", "at_least", "how"):
        reading.found[name] = [getattr(cell, name) for cell in together]


def _together(
    cell: cells.CountCell, flies: int | None, animals: tuple[int, ...] | None, reason: str, *rest: Any
) -> cells.CountCell:
    """What the columns of one row say together. A row that says nothing is a card that nobody looked at."""
    at_least, how = rest
    # A cell that couldn't be read is None, and named already.
    cell = cell or cells.CountCell()
    if (cell.count is not None and flies is not None) or (cell.animals and animals and cell.animals != animals):
        raise WrongCell("count_twice", TWO_COUNTS)
    if cell.reason and reason and cell.reason != reason:
        raise WrongCell("reasons_differ", TWO_REASONS)
    count = flies if cell.count is None else cell.count
    found = cell.animals or animals
    nothing = count is None and found is None and not cell.reason and not reason
    return cells.CountCell(
        count=count,
        at_least=cell.at_least or at_least,
        how=How.CUP.value if flies is not None else cell.how or how or "",
        animals=found,
        reason=NoCount.NOT_VISITED.value if nothing else cell.reason or reason,
    )
