"""The rows that a table becomes, as columns of text: one form for COPY, one for the chain.

The chain's form is that of farms.ledger.row_hash, written by template instead of value by value; a test holds the two
equal.
"""

import hashlib
import json
from collections.abc import Callable, Hashable, Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, date
from typing import Any

import numpy as np

from farms.ledger import Actor, row_hash, row_values
from monitoring.methods import CARD
from monitoring.models import Placement, Reading, Round
from monitoring.models.round import Source
from monitoring.rules.readings import days as days_of
from monitoring.services.ground import week_of
from monitoring.services.ids import round_id
from monitoring.services.reading import Came
from monitoring.services.table.batch import Batch

NULL = r"\N"
TRUE_FALSE = {True: "true", False: "false", None: "null"}
COPIED = {True: "t", False: "f", None: NULL}
ESCAPED = str.maketrans({"\\": r"\\", "\t": r"\t", "\n": r"\n", "\r": r"\r"})

READING_TABLE = Reading._meta.db_table
PLACEMENT_TABLE = Placement._meta.db_table


@dataclass(frozen=True)
class Rows:
    """New rows in order of station, as columns: `copied` as COPY writes them, `chained` as they enter the chain.

    A column that says the same in every row is one text, not a list.
    """

    number: int
    copied: dict[str, str | list[str]]
    chained: dict[str, str | list[str]]
    rounds: list[Round]
    fresh: list[bool]
    weeks: set[date]


def texts(values: Sequence[Hashable], write: Callable[[Any], str]) -> str | list[str]:
    """Each value written; one text where all are the same. Each different value is written once."""
    different = set(values)
    if len(different) == 1:
        return write(different.pop())
    if 2 * len(different) > len(values):
        return [write(value) for value in values]
    known = {value: write(value) for value in different}
    return [known[value] for value in values]


def escaped(text: str) -> str:
    """Text as COPY reads it (PostgreSQL, COPY, "Text Format")."""
    return text.translate(ESCAPED)


def in_json(value: Any) -> str:
    return json.dumps(value, ensure_ascii=False)


def quoted(value: Any) -> str:
    """Ids, days and words of ours, which need no escape; null for none."""
    return "null" if value is None else f'"{value}"'


def plain(value: Any) -> str:
    return NULL if value is None else str(value)


def sides_of(batch: Batch, places: Sequence[int]) -> list[int]:
    """How many sides were counted: as sent, else as the group decided for cards."""
    stations, given = batch.ground.stations, batch.columns.sides
    usual = batch.ground.farm.group.sides_counted
    default = [usual if station.method == CARD.code else 1 for station in stations]
    return [given[place] or default[batch.at[place]] for place in places]


def each(forms: dict[str, str | list[str]], names: Sequence[str], number: int) -> Iterable[tuple[str, ...]]:
    """Row by row the columns of these names."""
    columns = [forms[name] for name in names]
    return zip(*([column] * number if isinstance(column, str) else column for column in columns), strict=True)


def reading_hashes(rows: Rows) -> list[bytes]:
    """The chain's hash of every reading."""
    return _hashes(READING_TABLE, rows.chained, rows.number)


def placement_hashes(rows: Rows) -> list[bytes]:
    """The chain's hash of every fresh placement."""
    names = ("farm_id", "hung_on", "placement_id", "station_id", "zone")
    forms = {("id" if name == "placement_id" else name): rows.chained[name] for name in names}
    chosen = {
        name: form if isinstance(form, str) else [text for text, fresh in zip(form, rows.fresh, strict=True) if fresh]
        for name, form in forms.items()
    }
    return _hashes(PLACEMENT_TABLE, chosen, sum(rows.fresh))


def _hashes(table: str, forms: dict[str, str | list[str]], number: int) -> list[bytes]:
    """SHA-256 of each row: a template of the sorted names, in which what never changes stands already."""
    names = sorted(forms)
    varying = [name for name in names if isinstance(forms[name], list)]
    parts = (f'"{name}":' + ("%s" if name in varying else str(forms[name]).replace("%", "%%")) for name in names)
    template = f"{table}\n{{" + ",".join(parts) + "}"
    sha = hashlib.sha256
    if not varying:
        return [sha(template.replace("%%", "%").encode()).digest()] * number
    return [sha((template % row).encode()).digest() for row in each(forms, varying, number)]


def rows_of(batch: Batch, came: Came, actor: Actor, *, source: str, placements: set[str]) -> Rows:
    """The rows of the good readings. `placements` are there already and are not made again."""
    columns, at = batch.columns, batch.at
    places = _by_station(batch)
    chosen = columns.only(places)
    stations = batch.ground.stations
    here = [at[place] for place in places]
    days = {day: round_id(came.farm.id, day) for day in chosen.taken_on if day is not None}
    values: dict[str, Sequence[Any]] = {
        "id": [batch.reading_ids[place] for place in places],
        "round_id": [days[day] for day in chosen.taken_on if day is not None],
        "station_id": [stations[index].id for index in here],
        "placement_id": [batch.placement_ids[place] for place in places],
        "method": [stations[index].method for index in here],
        "sides": sides_of(batch, places),
    }
    same = ("how", "count", "fraction", "at_least", "reason", "hung_on", "taken_on", "pen", "time_of_day", "weather")
    values |= {name: getattr(chosen, name) for name in (*same, "bunching", "sprayed", "animals")}
    return _written(values, came, rounds=_rounds(days, came, actor, source), placements=placements)


def _by_station(batch: Batch) -> list[int]:
    """The good places by station and day: rows that lie together are found and indexed faster."""
    good = np.array(batch.good, np.int64)
    columns = batch.columns
    taken, device = days_of(columns.taken_on)[good], np.array(columns.device)[good]
    order = np.lexsort((device, taken, np.array(batch.at)[good]))
    return [int(place) for place in good[order]]


def _rounds(days: dict[date, Any], came: Came, actor: Actor, source: str) -> list[Round]:
    return [
        Round(
            farm_id=came.farm.id, id=made, walked_on=day, source=Source(source).value, actor_kind=actor.kind,
            received_at=came.now, entry=came.entry,
        )
        for day, made in sorted(days.items())
    ]  # fmt: skip


def round_hash(row: Round) -> bytes:
    return row_hash(Round._meta.db_table, row_values(row))


def _written(values: dict[str, Sequence[Any]], came: Came, *, rounds: list[Round], placements: set[str]) -> Rows:
    """Every column in its two forms."""
    copied: dict[str, str | list[str]] = {}
    chained: dict[str, str | list[str]] = {}
    moment = came.now.astimezone(UTC).isoformat(timespec="microseconds")
    for name, column in values.items():
        copy, chain = FORMS[name]
        copied[name], chained[name] = texts(column, copy), texts(column, chain)
        if copy is escaped and copied[name] != "":
            # Only COPY undoes its escapes: such a text is never put into the INSERT.
            copied[name] = [escaped(text) for text in column]
    for name, value in {
        "farm_id": str(came.farm.id), "zone": came.farm.time_zone, "received_at": moment, "corrects_id": None,
        "correction_kind": "",
    }.items():  # fmt: skip
        copied[name] = NULL if value is None else escaped(value)
        chained[name] = in_json(value)
    copied["entry"] = str(came.entry)
    pairs = set(zip(values["hung_on"], values["taken_on"], strict=True))
    weeks = {week_of(hung, taken) for hung, taken in pairs}
    return Rows(len(values["id"]), copied, chained, rounds, _fresh(values["placement_id"], placements), weeks)


def _fresh(ids: Sequence[str | None], there: set[str]) -> list[bool]:
    """Where a placement is named for the first time and isn't there yet."""
    seen: set[str | None] = {None, *there}
    fresh = []
    for each_id in ids:
        fresh.append(each_id not in seen)
        seen.add(each_id)
    return fresh


FORMS: dict[str, tuple[Callable[[Any], str], Callable[[Any], str]]] = {
    **dict.fromkeys(("id", "round_id", "station_id", "placement_id", "hung_on", "taken_on"), (plain, quoted)),
    **dict.fromkeys(("method", "how", "reason"), (str, quoted)),
    **dict.fromkeys(("pen", "weather"), (escaped, in_json)),
    **dict.fromkeys(("at_least", "bunching", "sprayed"), (COPIED.__getitem__, TRUE_FALSE.__getitem__)),
    **dict.fromkeys(("count", "sides"), (plain, lambda number: "null" if number is None else str(number))),
    "fraction": (lambda part: f"{part:.4f}", lambda part: f'"{part:.4f}"'),
    "time_of_day": (plain, lambda moment: quoted(moment and moment.isoformat())),
    "animals": (
        lambda flies: NULL if flies is None else "{" + ",".join(map(str, flies)) + "}",
        lambda flies: "null" if flies is None else "[" + ",".join(map(str, flies)) + "]",
    ),
}
