"""From a file to daily temperatures: a day, its lowest and its highest temperature and their unit in each row."""

import re
from collections.abc import Mapping, Sequence
from datetime import date

from django.utils.translation import gettext_lazy as _

from farms.errors import Detail
from monitoring.csv_import.days import ORDERS, Parse, day_parser
from monitoring.csv_import.text import sheet_of
from monitoring.errors import ColumnsMissing, ColumnsUnclear, ColumnUnknown
from monitoring.rules.cells import WrongCell
from monitoring.rules.stations import plain
from monitoring.rules.temperatures import CELSIUS, FAHRENHEIT, DaySent, TemperatureTable, celsius, detail_at

# The first name is the one that we tell people.
HEADERS: Mapping[str, Sequence[str]] = {
    "day": ("day", "date", "dia", "fecha"),
    "min": ("min", "minimum", "lowest", "low", "minima", "minimo"),
    "max": ("max", "maximum", "highest", "high", "maxima", "maximo"),
    "unit": ("unit", "unidad"),
}
COLUMNS = {name: column for column, names in HEADERS.items() for name in names}
UNIT_WORDS = {
    **dict.fromkeys(("c", "°c", "degc", "celsius", "centigrados", "grados celsius"), CELSIUS),
    **dict.fromkeys(("f", "°f", "degf", "fahrenheit", "grados fahrenheit"), FAHRENHEIT),
}
NUMBER = re.compile(r"[-+]?\d{1,3}(?:[.,]\d{1,4})?", re.ASCII)
NO_DAY = _("Say which day this is, as 2026-06-30.")
NOT_A_NUMBER = _("This has to be a number, as 12.5. Leave both temperatures empty where nothing was measured.")
NOT_A_UNIT = _("Say in each row whether it is C or F: a number alone could be either.")
TOO_MANY_CELLS = _("This row has more cells than the first line has names. Delete what stands beyond them.")
Row = Mapping[str, str]


def read_temperatures(content: bytes, *, order: str | None = None) -> TemperatureTable:
    """The days of a file. `order` says whether the day or the month comes first in dates such as 6/1/2026.

    A row without both temperatures is a day that nobody measured, and stores nothing. Raises what is wrong with the
    file as a whole; bad cells travel in the table, and come out of the service with everything else that is wrong.
    """
    if order is not None and order not in ORDERS:
        raise ValueError(f"order is one of {', '.join(ORDERS)}, or None.")
    sheet = sheet_of(content)
    places = _places(sheet.headers)
    parse = day_parser(set(sheet.columns[places["day"]]), sheet.headers[places["day"]], order)
    days, rows, faults = [], [], []
    for place, number in enumerate(sheet.numbers):
        row = {name: sheet.columns[column][place].strip() for name, column in places.items()}
        found, wrong = _day(row, number, parse)
        faults += [detail_at("/rows", number, "day", TOO_MANY_CELLS, "too_many_cells")] if place in sheet.spare else []
        faults += wrong
        if found is not None:
            days.append(found)
            rows.append(number)
    return TemperatureTable(days, rows, "/rows", faults)


def _places(headers: Sequence[str]) -> dict[str, int]:
    """Where each column stands. Raises ColumnUnknown, ColumnsUnclear or ColumnsMissing."""
    places: dict[str, int] = {}
    for place, header in enumerate(headers):
        column = COLUMNS.get(plain(header))
        if column is None:
            raise ColumnUnknown(headers=header or "?", known=", ".join(HEADERS))
        if column in places:
            raise ColumnsUnclear(column=column, headers=f"{headers[places[column]]}, {header}")
        places[column] = place
    missing = [column for column in HEADERS if column not in places]
    if missing:
        raise ColumnsMissing(columns=", ".join(missing))
    return places


def _day(row: Row, number: int, parse: Parse) -> tuple[DaySent | None, list[Detail]]:
    """What a row says, or what is wrong with it; neither where nothing was measured."""
    if not row["min"] and not row["max"]:
        return None, []
    day, faults = _cell_day(row["day"], number, parse)
    unit = UNIT_WORDS.get(plain(row["unit"]))
    values = {name: _number(row[name]) for name in ("min", "max")}
    wrong = [name for name, value in values.items() if value is None]
    faults += [detail_at("/rows", number, name, NOT_A_NUMBER, "not_a_number") for name in wrong]
    if unit is None:
        faults.append(detail_at("/rows", number, "unit", NOT_A_UNIT, "unit_unknown"))
    if faults or day is None or unit is None:
        return None, faults
    lowest, highest = (celsius(value, unit) for value in values.values() if value is not None)
    return DaySent(day, lowest, highest), []


def _cell_day(text: str, number: int, parse: Parse) -> tuple[date | None, list[Detail]]:
    try:
        day = parse(text)
    except WrongCell as error:
        return None, [detail_at("/rows", number, "day", error.reason, error.code)]
    return day, [] if day else [detail_at("/rows", number, "day", NO_DAY, "not_a_date")]


def _number(text: str) -> float | None:
    bare = text.replace("\N{MINUS SIGN}", "-")
    return float(bare.replace(",", ".")) if NUMBER.fullmatch(bare) else None
