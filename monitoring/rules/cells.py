"""What a single value may be: each kind turns what was sent into what is stored, or says in a sentence why it can't.

A column is typed in one go: where all its values are of the type wanted nothing is touched, and otherwise each
different value is looked at once, which for dates and counts of fifty thousand rows is a few hundred times.
"""

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time
from decimal import Decimal, InvalidOperation
from typing import Any
from uuid import UUID

from django.utils.translation import gettext_lazy as _

from monitoring.models.reading import How, NoCount
from monitoring.rules.stations import station_key

MOST_COUNTED = 1_000_000
MOST_ANIMALS = 500
MOST_DEVICES = 99
LONGEST_WORD = 60
# Nobody counted before it: 0026 is a year of which a browser was told two digits.
FIRST_DAY = date(1900, 1, 1)
YEAR_CUT = _("This year can't be meant. Write the day with all digits of its year, as 2026-06-30.")
FOUR_DECIMALS = Decimal("0.0001")
UUID_TEXT = re.compile(r"[0-9a-fA-F]{8}(?:-[0-9a-fA-F]{4}){3}-[0-9a-fA-F]{12}")
# What can't stand in a line of text: control characters, NUL first of all.
CONTROL = re.compile(r"[\x00-\x08\x0a-\x1f\x7f\ud800-\udfff]")


class WrongCell(Exception):
    """One value can't be right: a stable code and a sentence that says what to write instead."""

    def __init__(self, code: str, reason: Any) -> None:
        super().__init__()
        self.code = code
        self.reason = reason


Convert = Callable[[Any], Any]
UNHASHABLE = frozenset({list, tuple, dict, set})
NONE = frozenset({type(None)})


@dataclass(frozen=True)
class Kind:
    """One kind of value: how it is converted, the types that need no conversion, and what stands for "not given"."""

    convert: Convert
    as_it_is: frozenset[type] = frozenset()
    absent: Any = None


def typed(values: Sequence[Any], kind: Kind) -> tuple[list[Any], dict[int, WrongCell]]:
    """The values as their kind has them, None counting as absent; and what is wrong, by its place in the column."""
    types = set(map(type, values))
    if types <= kind.as_it_is:
        return list(values), {}
    # Values of two types may be equal, as 1 and True are; lists can't be looked up.
    if len(types - NONE) > 1 or types & UNHASHABLE:
        return _one_by_one(values, kind)
    try:
        known = {value: kind.absent if value is None else kind.convert(value) for value in set(values)}
    except WrongCell:
        return _one_by_one(values, kind)
    return [known[value] for value in values], {}


def _one_by_one(values: Sequence[Any], kind: Kind) -> tuple[list[Any], dict[int, WrongCell]]:
    found, wrong = [], {}
    for place, value in enumerate(values):
        try:
            found.append(kind.absent if value is None else kind.convert(value))
        except WrongCell as error:
            found.append(kind.absent)
            wrong[place] = error.with_traceback(None)
    return found, wrong


def count(value: Any) -> int:
    """A count: a whole number from 0."""
    number = whole(value)
    if number < 0:
        raise WrongCell("count_negative", _("A count can't be less than 0. Give what was counted, from 0."))
    if number > MOST_COUNTED:
        raise WrongCell("count_too_large", _("No more than 1,000,000 can be counted at one place. Check the number."))
    return number


def whole(value: Any) -> int:
    if type(value) is not int:
        raise WrongCell("not_a_number", _("This has to be a whole number, in digits only."))
    return value


def day(value: Any) -> date:
    """A calendar day, or its ISO 8601 text."""
    found = value if type(value) is date else _day_written(value)
    if found is None:
        raise WrongCell("not_a_date", _("This has to be a day of the calendar, written as 2026-06-30."))
    if found < FIRST_DAY:
        raise WrongCell("not_a_date", YEAR_CUT)
    return found


def _day_written(value: Any) -> date | None:
    try:
        # Only one of ISO 8601's forms: Python reads 20260630 and 2026-W27-2 too.
        if type(value) is str and re.fullmatch(r"\d{4}-\d{2}-\d{2}", value, re.ASCII):
            return date.fromisoformat(value)
    except ValueError:
        pass
    return None


def moment_of_day(value: Any) -> time:
    """A time of day without seconds' fractions, or its text as 07:30."""
    if type(value) is time and value.tzinfo is None:
        return value.replace(microsecond=0)
    try:
        if type(value) is str and re.fullmatch(r"\d{2}:\d{2}(:\d{2})?", value, re.ASCII):
            return time.fromisoformat(value)
    except ValueError:
        pass
    raise WrongCell("not_a_time", _("This has to be a time of day, written as 07:30."))


def moment(value: Any) -> datetime:
    if not isinstance(value, datetime) or value.tzinfo is None:
        raise WrongCell("not_a_moment", _("This has to be a date and time with its offset, as 2026-06-30T07:30:00Z."))
    return value


def part(value: Any) -> Decimal:
    """The part that was counted, above 0, at most 1, kept to four decimals."""
    try:
        number = Decimal(str(value)) if type(value) in (int, float, Decimal, str) else None
    except InvalidOperation:
        number = None
    if number is None or not number.is_finite():
        raise WrongCell("not_a_number", _("The part has to be a number above 0 and at most 1, as 0.25 for a quarter."))
    # Compared before rounding: quantize() fails on what is far too large.
    rounded = number.quantize(FOUR_DECIMALS) if 0 < number <= 1 else Decimal(0)
    if not rounded:
        raise WrongCell("part_out_of_range", _("The part that was counted lies above 0 and is at most 1, as 0.25."))
    return rounded


def yes_or_no(value: Any) -> bool:
    if type(value) is not bool:
        raise WrongCell("not_yes_or_no", _("This has to be true or false."))
    return value


def words(value: Any) -> str:
    """A few words in one line."""
    if type(value) is not str:
        raise WrongCell("not_text", _("This has to be text."))
    text = value.strip()
    if len(text) > LONGEST_WORD:
        raise WrongCell("text_too_long", _("This is longer than 60 characters. Keep it short, or send a note."))
    if CONTROL.search(text):
        raise WrongCell("not_text", _("This holds characters that are no text. Type it again."))
    return text


def identity(value: Any) -> str:
    """An id as text, in lower case with hyphens."""
    if isinstance(value, UUID):
        return str(value)
    if type(value) is str and UUID_TEXT.fullmatch(value):
        return value.lower()
    raise WrongCell("not_an_id", _("This has to be a UUID, as 0197c3a0-0000-7000-8000-000000000000."))


def station(value: Any) -> str | tuple[str, int]:
    """A station by its id, or by its method and number as the farm calls it: "Card 4"."""
    if isinstance(value, UUID) or (type(value) is str and len(value) == 36 and value.count("-") == 4):
        return identity(value)
    key = station_key(value) if type(value) is str else None
    if key is None:
        raise WrongCell("not_a_station", _("Name the station by its method and number, as Card 4, or by its id."))
    return key


def animals(value: Any) -> tuple[int, ...]:
    """The flies on each animal's legs, one whole number an animal."""
    if type(value) not in (list, tuple):
        raise WrongCell("not_a_number", _("Give the flies on each animal as a list of whole numbers, one an animal."))
    if not 1 <= len(value) <= MOST_ANIMALS:
        raise WrongCell("animals_out_of_range", _("Give one number for each animal looked at, for 1 to 500 animals."))
    each = tuple(count(number) for number in value)
    count(sum(each))
    return each


def sides(value: Any) -> int:
    if whole(value) not in (1, 2):
        raise WrongCell("sides_out_of_range", _("A card has one side counted, or two: give 1 or 2."))
    return int(value)


def device(value: Any) -> int:
    if not 1 <= whole(value) <= MOST_DEVICES:
        raise WrongCell(
            "device_out_of_range", _("Number the cards or traps at one station from 1: give 1, 2 and so on.")
        )
    return int(value)


def one_of(code: str, choices: Sequence[str]) -> Convert:
    listed = ", ".join(choices)

    def convert(value: Any) -> str:
        if type(value) is not str or value not in choices:
            raise WrongCell(code, _("This is none of the words known here. Use one of: %(words)s.") % {"words": listed})
        return value

    return convert


KINDS: dict[str, Kind] = {
    "id": Kind(identity, NONE),
    "station": Kind(station),
    "placement": Kind(identity, NONE),
    "hung_on": Kind(day, NONE | {date}),
    "taken_on": Kind(day, NONE | {date}),
    "count": Kind(count, NONE),
    "how": Kind(one_of("how_unknown", How.values), absent=""),
    "fraction": Kind(part, absent=Decimal(1)),
    "at_least": Kind(yes_or_no, frozenset({bool}), absent=False),
    "reason": Kind(one_of("reason_unknown", ["", *NoCount.values]), absent=""),
    "sides": Kind(sides, NONE),
    "animals": Kind(animals, NONE),
    "pen": Kind(words, absent=""),
    "time_of_day": Kind(moment_of_day, NONE),
    "weather": Kind(words, absent=""),
    "bunching": Kind(yes_or_no, NONE | {bool}),
    "sprayed": Kind(yes_or_no, NONE | {bool}),
    "device": Kind(device, absent=1),
}
