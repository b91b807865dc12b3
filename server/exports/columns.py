"""What a column of an exported table is: its name, its kind, where it comes from, and what it says."""

from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from django.db.models import Case, CharField, F, Func, IntegerField, TextField, Value, When
from django.db.models.functions import Cast, Concat, NullIf


class Kind(StrEnum):
    ID = "id"
    TEXT = "text"  # typed by people
    WORD = "word"  # a code of ours
    WHOLE = "whole"
    NUMBER = "number"
    DAY = "day"
    MOMENT = "moment"
    CLOCK = "clock"
    YES_NO = "yes_no"
    WHOLES = "wholes"  # several whole numbers


@dataclass(frozen=True)
class Column:
    """One column. `source` is a field of the row, or an expression; `always` says that it is never missing."""

    name: str
    kind: Kind
    says: str
    source: Any = None
    always: bool = True
    words: tuple[str, ...] = ()
    least: float | None = None
    most: float | None = None

    @property
    def expression(self) -> Any:
        return F(self.name) if self.source is None else self.source


def unless_blank(field: str) -> Any:
    """What is stored as an empty text leaves as missing."""
    return NullIf(F(field), Value("", CharField()))


def listed(field: str) -> Any:
    """Several words of one column in one text: 3A, 15."""
    return Func(F(field), Value(", "), function="array_to_string", output_field=TextField())


def days_between(first: str, last: str) -> Any:
    return Func(
        F(last), F(first), template="(%(expressions)s)", arg_joiner=" - ", output_field=IntegerField()
    )  # PostgreSQL: a day less a day is a whole number


def station_name(method: str, number: str) -> Any:
    """Card 4: in English whoever asks, so that a file is the same for everybody, and the import reads it."""
    names = {"card": "Card ", "trap": "Trap ", "leg": "Leg count "}
    words = [When(**{method: code}, then=Value(name)) for code, name in names.items()]
    return Concat(Case(*words, output_field=TextField()), Cast(F(number), TextField()), output_field=TextField())
