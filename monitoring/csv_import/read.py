"""From a file to a table of readings, column by column: each different text of a column is looked at once."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from itertools import chain, compress
from operator import attrgetter
from typing import Any

from django.utils.translation import gettext_lazy as _

from monitoring.csv_import import cells
from monitoring.csv_import.cells import CountCell
from monitoring.csv_import.days import ORDERS, day_parser
from monitoring.csv_import.headers import columns_of
from monitoring.csv_import.text import Sheet, sheet_of
from monitoring.models.reading import How, NoCount
from monitoring.rules.cells import KINDS, WrongCell, words
from monitoring.rules.cells import device as check_device
from monitoring.rules.cells import sides as check_sides
from monitoring.rules.collecting import collected_later
from monitoring.rules.stations import MOST_STATIONS, method_named
from monitoring.rules.table import MOST_OF_A_ROW, Fault, ReadingTable, fault_of, finished_table

PARSERS: dict[str, Callable[[str], Any]] = {
    "id": cells.identity,
    "station": cells.station,
    "fraction": cells.part,
    "sides": cells.small_number(check_sides, None),
    "pen": words,
    "time_of_day": cells.moment_of_day,
    "weather": words,
    "bunching": cells.yes_or_no,
    "sprayed": cells.yes_or_no,
    "device": cells.small_number(check_device, 1),
}
# What may hold a count or say why there is none, and what stands for "not given".
COUNT_PARSERS: dict[str, tuple[Callable[[str], Any], Any]] = {
    "count": (cells.count_cell, None),
    "cups": (cells.cups, None),
    "animals": (cells.animals, None),
    "reason": (cells.reason, ""),
    "at_least": (lambda text: bool(cells.yes_or_no(text)), False),
    "how": (cells.how, ""),
}
DAYS = ("hung_on", "taken_on")
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
    named: list[int] = field(init=False)

    def __post_init__(self) -> None:
        self.named = [0] * self.number

    def known(self, name: str, parse: Callable[[str], Any]) -> dict[str, Any]:
        """What each different text of a column stands for; "not given" for those that are wrong, which are noted."""
        column, absent = self.columns[name], KINDS[name].absent if name in KINDS else None
        known: dict[str, Any] = dict.fromkeys(column, absent)
        wrong: dict[str, WrongCell] = {}
        alike: dict[tuple[str, int], WrongCell] = {}
        for text in self._open(column):
            try:
                known[text] = parse(text)
            except WrongCell as error:
                # One for all that say the same, so that a file of nonsense doesn't keep an exception a cell.
                same = (error.code, id(error.reason))
                if same not in alike:
                    alike[same] = error.with_traceback(None)
                wrong[text] = alike[same]
        self.refuse(name, {place: wrong[text] for place, text in enumerate(column) if text in wrong} if wrong else {})
        return known

    def _open(self, column: Sequence[str]) -> set[str]:
        """The different texts of a column, but for those of rows of which no more is named and nothing stored."""
        if MOST_OF_A_ROW not in self.named:
            return set(column)
        return {text for text, named in zip(column, self.named, strict=True) if named < MOST_OF_A_ROW}

    def values(self, name: str, parse: Callable[[str], Any]) -> list[Any]:
        known = self.known(name, parse)
        return [known[text] for text in self.columns[name]]

    def refuse(self, name: str, errors: dict[int, WrongCell]) -> None:
        column = self.columns.get(name)
        for place, error in errors.items():
            if self.named[place] < MOST_OF_A_ROW:
                self.named[place] += 1
                self.faults.append(fault_of(place, name, error, column[place] if column else ""))


@collected_later()
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
            reading.found[name] = reading.values(name, parse)
    if "station" not in reading.columns:
        reading.found["station"] = _stations(reading)
    _put_counts_together(reading)
    found = {name: reading.found.get(name) or [kind.absent] * reading.number for name, kind in KINDS.items()}
    return finished_table(found, rows=sheet.numbers, faults=reading.faults, pointer="/rows", names=reading.names)


def _columns(sheet: Sheet) -> Reading:
    """The file's columns by our names for them."""
    places = columns_of(sheet.headers, lambda place: not any(text.strip() for text in set(sheet.columns[place])))
    names = {column: sheet.headers[place] for column, place in places.items()}
    columns = {column: sheet.columns[place] for column, place in places.items()}
    reading = Reading(columns, names, len(sheet.numbers))
    reading.refuse("", dict.fromkeys(sheet.spare, WrongCell("too_many_cells", TOO_MANY_CELLS)))
    return reading


def _read_days(reading: Reading, order: str | None) -> None:
    texts = set(chain.from_iterable(reading.columns.get(name, ()) for name in DAYS))
    shown = ", ".join(reading.names[name] for name in DAYS if name in reading.names)
    parse = day_parser(texts, shown, order)
    for name in DAYS:
        if name in reading.columns:
            reading.found[name] = reading.values(name, parse)


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

    numbers = reading.values("number", cells.small_number(number, None))
    methods = reading.values("method", method)
    return [(name, digits) if name and digits else None for name, digits in zip(methods, numbers, strict=True)]


def _put_counts_together(reading: Reading) -> None:
    """One count, or one reason, from all the columns that may hold it."""
    names = [name for name in COUNT_PARSERS if name in reading.columns]
    meanings = [reading.known(name, COUNT_PARSERS[name][0]) for name in names]
    keys = list(zip(*(reading.columns[name] for name in names), strict=True))
    # A row that is wrong already is not stored: what its cells would say together is nobody's question.
    right = [not number for number in reading.named]
    known: dict[tuple[str, ...], CountCell] = dict.fromkeys(keys, CountCell())
    wrong: dict[tuple[str, ...], WrongCell] = {}
    absent = {name: nothing for name, (_, nothing) in COUNT_PARSERS.items()}
    for key in set(compress(keys, right)):
        given = {name: meaning[text] for name, meaning, text in zip(names, meanings, key, strict=True)}
        try:
            known[key] = _together(**absent | given)
        except WrongCell as error:
            wrong[key] = error.with_traceback(None)
    if wrong:
        places = [place for place, key in enumerate(keys) if right[place] and key in wrong]
        reading.refuse(names[0], {place: wrong[keys[place]] for place in places})
    together = [known[key] for key in keys]
    for name in ("count", "reason", "animals", "at_least", "how"):
        reading.found[name] = list(map(attrgetter(name), together))


def _together(
    *, count: CountCell | None, cups: int | None, animals: tuple[int, ...] | None, reason: str, at_least: bool, how: str
) -> CountCell:
    """What the columns of one row say together. A row that says nothing is a card that nobody looked at."""
    # A cell that couldn't be read is None, and named already.
    cell = count or CountCell()
    if (cell.count is not None and cups is not None) or (cell.animals and animals and cell.animals != animals):
        raise WrongCell("count_twice", TWO_COUNTS)
    if cell.reason and reason and cell.reason != reason:
        raise WrongCell("reasons_differ", TWO_REASONS)
    number = cups if cell.count is None else cell.count
    flies = cell.animals or animals
    nothing = number is None and flies is None and not cell.reason and not reason
    return CountCell(
        count=number,
        at_least=cell.at_least or at_least,
        how=How.CUP.value if cups is not None else cell.how or how,
        animals=flies,
        reason=NoCount.NOT_VISITED.value if nothing else cell.reason or reason,
    )
