"""Many readings as columns, with what is wrong in them named by row, column and reason."""

from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass, field, fields
from datetime import date, time
from decimal import Decimal
from heapq import nsmallest
from operator import attrgetter, itemgetter
from typing import Any, NamedTuple

from django.utils.translation import gettext_lazy as _

from farms.errors import Detail
from monitoring.models.reading import How
from monitoring.rules.cells import CONTROL, KINDS, WrongCell, typed
from monitoring.rules.collecting import collected_later

MOST_ROWS = 50_000
MOST_NAMED = 100
# Of one row; with these mended the others show.
MOST_OF_A_ROW = 3
LONGEST_SHOWN = 40
WHOLE = Decimal(1)


class Fault(NamedTuple):
    """One wrong value: the place of its reading in the columns, which column, a stable code, and what to do.

    `reason` is written out (`str`) where it is told, not before: a file may have a quarter of a million faults.
    """

    place: int
    column: str
    code: str
    reason: Any
    value: Any = ""


@dataclass(frozen=True)
class BadCell:
    """One wrong value as its sender knows it: by the row and the column's name in the file or request."""

    row: int
    column: str
    value: str
    reason: str
    code: str


@dataclass(frozen=True)
class Columns:
    """Readings as columns of one length, one entry a reading: of the right types, not yet checked against each other.

    `station` is an id as text, or (method, number); None in a column is "not given". `device` numbers the cards or
    traps that hang at one station.
    """

    id: list[str | None]
    station: list[Hashable]
    placement: list[str | None]
    hung_on: list[date | None]
    taken_on: list[date | None]
    count: list[int | None]
    how: list[str]
    fraction: list[Decimal]
    at_least: list[bool]
    reason: list[str]
    sides: list[int | None]
    animals: list[tuple[int, ...] | None]
    pen: list[str]
    time_of_day: list[time | None]
    weather: list[str]
    bunching: list[bool | None]
    sprayed: list[bool | None]
    device: list[int]

    def __len__(self) -> int:
        return len(self.station)

    def only(self, places: Sequence[int]) -> "Columns":
        """The readings at these places, in this order."""
        columns = {each.name: getattr(self, each.name) for each in fields(self)}
        if len(places) < 2:
            return Columns(**{name: [values[place] for place in places] for name, values in columns.items()})
        chosen = itemgetter(*places)
        return Columns(**{name: list(chosen(values)) for name, values in columns.items()})


@dataclass(frozen=True)
class ReadingTable:
    """Readings on their way in: columns, what was wrong with single values, and how the sender names rows and columns.

    `rows` numbers the readings as the sender does (lines of the file, places in the list; None for a single reading
    that stands in no list), `pointer` is where they lie in the request, and `names` maps our columns to the sender's
    where they differ.
    """

    columns: Columns
    rows: Sequence[int] | None
    faults: tuple[Fault, ...] = ()
    pointer: str = "/readings"
    names: Mapping[str, str] = field(default_factory=dict)

    def bad_cell(self, fault: Fault) -> BadCell:
        name = self.names.get(fault.column, fault.column)
        return BadCell(self.row(fault.place), name, shown(fault.value), str(fault.reason), fault.code)

    def row(self, place: int) -> int:
        return place if self.rows is None else self.rows[place]

    def path(self, place: int) -> str:
        """Where a reading lies in the request: a JSON pointer (RFC 6901)."""
        return self.pointer if self.rows is None else f"{self.pointer}/{self.rows[place]}"

    def details(self, faults: Sequence[Fault]) -> list[Detail]:
        """The first hundred of these faults, in order of rows, as an error names them."""
        first = nsmallest(MOST_NAMED, faults, key=attrgetter("place"))
        return [self._detail(fault) for fault in first]

    def _detail(self, fault: Fault) -> Detail:
        name = self.names.get(fault.column, fault.column)
        # RFC 6901 escapes these two in a header that holds them.
        step = name.replace("~", "~0").replace("/", "~1")
        return Detail(f"{self.path(fault.place)}/{step}".rstrip("/"), str(fault.reason), fault.code)


def in_order(faults: Sequence[Fault]) -> list[Fault]:
    return sorted(faults, key=attrgetter("place"))


@collected_later()
def table_of_rows(rows: Sequence[Any]) -> ReadingTable:
    """A table of JSON objects, decoded and otherwise as they came; keys as in `Columns`, `placement` not among them.

    What is wrong with them is found, not raised.
    """
    objects = [row if type(row) is dict else {} for row in rows]
    faults = [
        Fault(place, "", "not_an_object", str(_("Each reading has to be an object with named values.")), str(row))
        for place, row in enumerate(rows)
        if type(row) is not dict
    ]
    keys: set[str] = set().union(*objects)
    known = KINDS.keys() - {"placement"}
    if not keys <= known:
        faults += _unknown_keys(objects, known)
    values = {name: [each.get(name) for each in objects] for name in known & keys}
    return typed_table(values, rows=range(len(objects)), faults=faults)


def _unknown_keys(objects: Sequence[Mapping[str, Any]], known: set[str]) -> list[Fault]:
    reason = str(_("There is no such value in a reading. Leave it away, or use one of: %(names)s."))
    listed = {"names": ", ".join(sorted(known))}
    return [
        Fault(place, shown(key), "unknown_value", reason % listed, shown(each[key]))
        for place, each in enumerate(objects)
        for key in each.keys() - known
    ]


def typed_table(
    values: Mapping[str, Sequence[Any]],
    *,
    rows: Sequence[int] | None,
    faults: Sequence[Fault] = (),
    pointer: str = "/readings",
    names: Mapping[str, str] | None = None,
) -> ReadingTable:
    """A table of untyped columns; a column that isn't there is "not given" in every row."""
    found: dict[str, list[Any]] = {}
    wrong = list(faults)
    for name, kind in KINDS.items():
        if name not in values:
            found[name] = [kind.absent] * (1 if rows is None else len(rows))
            continue
        found[name], errors = typed(values[name], kind)
        wrong += [fault_of(place, name, error, values[name][place]) for place, error in errors.items()]
    return finished_table(found, rows=rows, faults=wrong, pointer=pointer, names=names)


def finished_table(
    found: dict[str, list[Any]],
    *,
    rows: Sequence[int] | None,
    faults: Sequence[Fault],
    pointer: str,
    names: Mapping[str, str] | None = None,
) -> ReadingTable:
    """A table of typed columns, one for each name of `Columns`, with what follows from them filled in."""
    wrong = [*faults, *_required(found, {fault.place for fault in faults})]
    _complete(found)
    return ReadingTable(Columns(**found), rows, tuple(wrong), pointer, names or {})


def fault_of(place: int, column: str, error: WrongCell, value: Any) -> Fault:
    return Fault(place, column, error.code, error.reason, value)


def shown(value: Any) -> str:
    """A value as an error shows it: short, in one line, without what is no text."""
    if value == "" or value is None:
        return ""
    # Cut first: a cell may be a megabyte.
    text = CONTROL.sub("\N{REPLACEMENT CHARACTER}", " ".join(str(value)[: 4 * LONGEST_SHOWN].split()))
    return text if len(text) <= LONGEST_SHOWN else f"{text[: LONGEST_SHOWN - 1]}…"


def _required(found: Mapping[str, list[Any]], wrong: set[int]) -> list[Fault]:
    said = {
        "station": ("station_missing", _("Say which card, trap or leg count this is, as Card 4.")),
        "taken_on": ("taken_on_missing", _("Give the day when it was taken down or counted.")),
    }
    return [
        Fault(place, name, code, str(reason))
        for name, (code, reason) in said.items()
        if None in found[name]
        for place, value in enumerate(found[name])
        if value is None and place not in wrong
    ]


def _complete(found: dict[str, list[Any]]) -> None:
    """Fill in what follows from other columns: how it was counted, and the sum of the flies on the animals."""
    if "" in found["how"]:
        # Mostly all is whole, and Decimals are slow to compare one by one.
        parts = [WHOLE] if found["fraction"].count(WHOLE) == len(found["fraction"]) else found["fraction"]
        usual = {part: How.COUNTED.value if part == WHOLE else How.PART.value for part in set(parts)}
        found["how"] = [how or usual[part] for how, part in zip(found["how"], found["fraction"], strict=True)]
    if any(found["animals"]):
        found["count"] = [
            sum(each) if number is None and each else number
            for number, each in zip(found["count"], found["animals"], strict=True)
        ]
