"""What daily temperatures may be: lowest not above highest, within 60 degrees of zero, each day once, none to come."""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import NamedTuple

from django.utils.translation import gettext_lazy as _

from farms.errors import Detail

CELSIUS, FAHRENHEIT = "C", "F"
UNITS = (CELSIUS, FAHRENHEIT)
COLDEST, HOTTEST = -60.0, 60.0  # degrees Celsius
MOST_DAYS = 4_000  # ten years and more
NOT_A_TEMPERATURE = _("This is no temperature of a day: it has to lie from -60 to 60 °C, or -76 to 140 °F.")
TURNED_ROUND = _("The lowest temperature of a day can't be above the highest. Exchange them or correct one.")
DAY_TWICE = _("This day stands here twice. Keep one of them.")
TO_COME = _("This day is still to come. Only what was measured is stored: correct the day, or leave it out.")


class DaySent(NamedTuple):
    """A day's lowest and highest temperature. [degrees Celsius]"""

    day: date
    lowest: float
    highest: float


@dataclass(frozen=True)
class TemperatureTable:
    """Days on their way in, and what was wrong with what couldn't be read at all.

    `rows` numbers the days as their sender does (lines of a file, places in a list), `pointer` is where they lie in
    what was sent.
    """

    days: Sequence[DaySent]
    rows: Sequence[int]
    pointer: str = "/days"
    faults: Sequence[Detail] = ()

    def detail(self, row: int, column: str, reason: object, code: str) -> Detail:
        return detail_at(self.pointer, row, column, reason, code)


def table_of_days(days: Iterable[tuple[date, float, float]], unit: str = CELSIUS) -> TemperatureTable:
    """A table of (day, lowest, highest) in one unit, numbered from 0."""
    sent = [DaySent(day, celsius(lowest, unit), celsius(highest, unit)) for day, lowest, highest in days]
    return TemperatureTable(sent, range(len(sent)))


def celsius(value: float, unit: str) -> float:
    """A temperature in degrees Celsius, to a hundredth where it was Fahrenheit.

    >>> celsius(86.0, "F")
    30.0
    """
    return round((value - 32) / 1.8, 2) if unit == FAHRENHEIT and math.isfinite(value) else value


def detail_at(pointer: str, row: int, column: str, reason: object, code: str) -> Detail:
    return Detail(f"{pointer}/{row}/{column}", str(reason), code)


def faults_of(table: TemperatureTable, today: date) -> list[Detail]:
    """Everything that is wrong with a table, in the order of its rows."""
    errors, seen = list(table.faults), set[date]()
    for row, (day, lowest, highest) in zip(table.rows, table.days, strict=True):
        if day in seen:
            errors.append(table.detail(row, "day", DAY_TWICE, "day_twice"))
        if day > today:
            errors.append(table.detail(row, "day", TO_COME, "future_date"))
        wrong = [name for name, value in (("min", lowest), ("max", highest)) if not COLDEST <= value <= HOTTEST]
        errors += [table.detail(row, name, NOT_A_TEMPERATURE, "not_a_temperature") for name in wrong]
        if not wrong and lowest > highest:
            errors.append(table.detail(row, "min", TURNED_ROUND, "turned_round"))
        seen.add(day)
    return sorted(errors, key=lambda error: int(error.pointer.split("/")[-2]))
