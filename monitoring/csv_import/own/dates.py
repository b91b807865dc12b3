"""The days of somebody's own table: as in the fixed format, as numbers of days, and with their months named."""

import re
from collections.abc import Callable, Collection
from datetime import date, timedelta

from monitoring.csv_import.days import NOT_A_DATE, day_parser
from monitoring.rules.cells import WrongCell
from monitoring.rules.stations import plain

# Day 60 was never a day (1900 was no leap year); no count is as old as that. ECMA-376 part 1, 18.17.4.1.
EPOCH, EPOCH_1904 = date(1899, 12, 30), date(1904, 1, 1)
# 1954 to 2091: what lies outside is no day but another number.
SERIAL = re.compile(r"([2-6]\d{4})(?:\.\d+)?", re.ASCII)
MONTHS = {
    name: number
    for number, names in enumerate(
        ("jan ene enero january", "feb febrero february", "mar marzo march", "apr abr abril april", "may mayo",
         "jun junio june", "jul julio july", "aug ago agosto august", "sep sept set septiembre september setiembre",
         "oct octubre october", "nov noviembre november", "dec dic diciembre december"), start=1
    )
    for name in names.split()
}  # fmt: skip
DAY_NAMED = re.compile(r"(\d{1,2})(?:[ .\-/]| de )+([a-z]+)\.?(?:[ ,.\-/]| de )+(\d{4}|\d{2})", re.ASCII)
NAMED_DAY = re.compile(r"([a-z]+)\.?[ \-/]+(\d{1,2})(?:st|nd|rd|th)?(?:[ ,.\-/])+(\d{4}|\d{2})", re.ASCII)
# An hour behind the day, which a count of a card doesn't need.
HOUR = re.compile(
    r"(\d{1,4}[-/.]\d{1,2}[-/.]\d{1,4})[ T]\d{1,2}:\d{2}(?::\d{2}(?:\.\d+)?)?(?: ?[ap]\.?m\.?)?",
    re.ASCII | re.IGNORECASE,
)

Parse = Callable[[str], date | None]


def parser_of(texts: Collection[str], column: str, order: str | None, *, first_1904: bool = False) -> Parse:
    """How the dates of a table are read. Raises DatesUnclear where the order of day and month can't be known.

    >>> parser_of([], "Date", None)("46203"), parser_of([], "Fecha", None)("30 de junio de 2026")
    (datetime.date(2026, 6, 30), datetime.date(2026, 6, 30))
    """
    plain_days = day_parser(
        {_bare(text) for text in texts if not _otherwise(text, first_1904=first_1904)}, column, order
    )
    return lambda text: _otherwise(text, first_1904=first_1904) or plain_days(_bare(text))


def looks_like_day(text: str) -> bool:
    """Whether a cell may hold a day, in whatever order."""
    for order in ("day_first", "month_first"):
        try:
            if parser_of([text], "", order)(text):
                return True
        except WrongCell:
            continue
    return False


def _bare(text: str) -> str:
    found = HOUR.fullmatch(text.strip())
    return found[1] if found else text.strip()


def _otherwise(text: str, *, first_1904: bool) -> date | None:
    """A day that is a number of days, or that names its month; None for one that is neither."""
    if found := SERIAL.fullmatch(text.strip()):
        return (EPOCH_1904 if first_1904 else EPOCH) + timedelta(days=int(found[1]))
    words = plain(text)
    if found := DAY_NAMED.fullmatch(words):
        return _made(found[3], found[2], found[1])
    if found := NAMED_DAY.fullmatch(words):
        return _made(found[3], found[1], found[2])
    return None


def _made(year: str, month: str, day: str) -> date | None:
    if month not in MONTHS:
        return None
    try:
        return date(int(year) + (2000 if len(year) == 2 else 0), MONTHS[month], int(day))
    except ValueError:
        raise WrongCell("not_a_date", NOT_A_DATE) from None
