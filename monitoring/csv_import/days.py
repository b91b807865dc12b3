"""Dates as spreadsheets write them: 2026-06-30, 30.06.2026, 30/6/2026 or 6/30/2026."""

import re
from collections.abc import Callable, Collection
from datetime import date

from django.utils.formats import date_format
from django.utils.translation import gettext_lazy as _

from monitoring.errors import DatesUnclear
from monitoring.rules.cells import WrongCell

DAY_FIRST, MONTH_FIRST = "day_first", "month_first"
ORDERS = (DAY_FIRST, MONTH_FIRST)
# Some programs add the hour to a day that has none.
MIDNIGHT = r"(?:[ T]0?0:00(?::00)?(?:\.0+)?)?"
YEAR_FIRST = re.compile(r"(\d{4})[-/.](\d{1,2})[-/.](\d{1,2})" + MIDNIGHT, re.ASCII)
DOTTED = re.compile(r"(\d{1,2})\.\s?(\d{1,2})\.\s?(\d{4}|\d{2})" + MIDNIGHT, re.ASCII)
SLASHED = re.compile(r"(\d{1,2})[/-](\d{1,2})[/-](\d{4}|\d{2})" + MIDNIGHT, re.ASCII)
NOT_A_DATE = _("This is no day of the calendar. Write it as 2026-06-30.")
OTHER_ORDER = _("In this file the {part} comes first, and there is no such day then. Write it as 2026-06-30.")

Parse = Callable[[str], date | None]


def day_parser(texts: Collection[str], column: str, order: str | None) -> Parse:
    """How the dates of a file are read.

    Where slashes leave two readings and no order is given, what other dates of the file prove is taken; where they
    prove nothing, raises DatesUnclear.
    """
    chosen = order or _proven(texts, column)
    return lambda text: _day(text.strip(), chosen)


def _proven(texts: Collection[str], column: str) -> str:
    slashed = [text for text in texts if "/" in text or "-" in text]
    pairs = {text: (int(found[1]), int(found[2])) for text in slashed if (found := SLASHED.fullmatch(text.strip()))}
    if any(first > 12 for first, _second in pairs.values()):
        return DAY_FIRST
    if any(second > 12 for _first, second in pairs.values()):
        return MONTH_FIRST
    unclear = sorted(text for text, (first, second) in pairs.items() if first != second)
    if unclear:
        by_day, by_month = (_day_or_none(unclear[0], each) for each in ORDERS)
        raise DatesUnclear(column=column, example=unclear[0], first=_month(by_day), second=_month(by_month))
    return DAY_FIRST


def _day_or_none(text: str, order: str) -> date | None:
    try:
        return _day(text.strip(), order)
    except WrongCell:
        return None


def _month(day: date | None) -> str:
    return date_format(day, "F") if day else "?"


def _day(text: str, order: str) -> date | None:
    """A day, or None for an empty cell. Raises WrongCell."""
    if not text:
        return None
    if not text[0].isdigit():
        raise WrongCell("not_a_date", NOT_A_DATE)
    if found := YEAR_FIRST.fullmatch(text):
        return _made(found[1], found[2], found[3], NOT_A_DATE)
    if found := DOTTED.fullmatch(text):
        return _made(found[3], found[2], found[1], NOT_A_DATE)
    if found := SLASHED.fullmatch(text):
        month, day = (found[2], found[1]) if order == DAY_FIRST else (found[1], found[2])
        part = _("day") if order == DAY_FIRST else _("month")
        return _made(found[3], month, day, str(OTHER_ORDER).format(part=part))
    raise WrongCell("not_a_date", NOT_A_DATE)


def _made(year: str, month: str, day: str, reason: object) -> date:
    try:
        return date(int(year) + (2000 if len(year) == 2 else 0), int(month), int(day))
    except ValueError:
        raise WrongCell("not_a_date", reason) from None
