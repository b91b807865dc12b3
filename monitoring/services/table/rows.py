"""The rows that a table becomes, as columns of text as COPY writes them; see `chain` for their other form."""

import json
from collections.abc import Callable, Hashable, Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, date
from typing import Any

import numpy as np

from farms.ledger import Actor
from monitoring.methods import CARD
from monitoring.models import Placement, Reading, Round
from monitoring.models.round import Source
from monitoring.rules.readings import days as days_of
from monitoring.services.ground import week_of
from monitoring.services.ids import round_id
from monitoring.services.reading import Came
from monitoring.services.table.batch import Batch

Form = str | list[str]
NULL = r"\N"
ESCAPED = str.maketrans({"\\": r"\\", "\t": r"\t", "\n": r"\n", "\r": r"\r"})

READING_TABLE = Reading._meta.db_table
PLACEMENT_TABLE = Placement._meta.db_table


@dataclass(frozen=True)
class Rows:
    """New rows in order of station, as columns: `copied` as COPY writes them.

    `chained` are those that the chain writes otherwise. A column that says the same in every row is one text, not a
    list. `fresh` marks the rows that bring a placement with them.
    """

    number: int
    copied: dict[str, Form]
    chained: dict[str, Form]
    rounds: list[Round]
    fresh: list[bool]
    weeks: set[date]


def texts(values: Sequence[Hashable], write: Callable[[Any], str]) -> str | list[str]:
    """Each value written; one text where all are the same. Each different value is written once."""
    if values and values.count(values[0]) == len(values):
        return write(values[0])
    different = set(values)
    if 2 * len(different) > len(values):
        return [write(value) for value in values]
    known = {value: write(value) for value in different}
    return [known[value] for value in values]


def escaped(text: str) -> str:
    """Text as COPY reads it (PostgreSQL, COPY, "Text Format")."""
    return text.translate(ESCAPED)


def plain(value: Any) -> str:
    return NULL if value is None else str(value)


def sides_of(batch: Batch, places: Sequence[int]) -> list[int]:
    """How many sides were counted: as sent, else as the group decided for cards."""
    stations, given = batch.ground.stations, batch.columns.sides
    usual = batch.ground.farm.group.sides_counted
    default = [usual if station.method == CARD.code else 1 for station in stations]
    return [given[place] or default[batch.at[place]] for place in places]


def each(forms: dict[str, Form], names: Sequence[str], number: int) -> Iterable[tuple[str, ...]]:
    """Row by row the columns of these names."""
    columns = [forms[name] for name in names]
    return zip(*([column] * number if isinstance(column, str) else column for column in columns), strict=True)


def rows_of(batch: Batch, came: Came, actor: Actor, *, source: str, placements: set[str]) -> Rows:
    """The rows of the good readings. `placements` are there already and are not made again."""
    columns, at = batch.columns, batch.at
    places = _by_station(batch)
    chosen = columns.only(places)
    stations = batch.ground.stations
    here = [stations[at[place]] for place in places]
    days = {day: round_id(came.farm.id, day) for day in set(chosen.taken_on) if day is not None}
    day_ids = {day: str(made) for day, made in days.items()}
    values: dict[str, Sequence[Any]] = {
        "id": [batch.reading_ids[place] for place in places],
        "round_id": [day_ids[day] for day in chosen.taken_on if day is not None],
        "station_id": [station.id for station in here],
        "placement_id": [batch.placement_ids[place] for place in places],
        "method": [station.method for station in here],
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
    places: list[int] = good[order].tolist()
    return places


def _rounds(days: dict[date, Any], came: Came, actor: Actor, source: str) -> list[Round]:
    return [
        Round(
            farm_id=came.farm.id, id=made, walked_on=day, source=Source(source).value, actor_kind=actor.kind,
            received_at=came.now, entry=came.entry,
        )
        for day, made in sorted(days.items())
    ]  # fmt: skip


def _written(values: dict[str, Sequence[Any]], came: Came, *, rounds: list[Round], placements: set[str]) -> Rows:
    """Every column as text."""
    moment = came.now.astimezone(UTC).isoformat(timespec="microseconds")
    copied: dict[str, Form] = {name: _ids(values[name]) for name in IDS}
    copied |= {name: texts(values[name], write) for name, write in COPIED.items()}
    # Only COPY undoes its escapes: such a text is never put into the INSERT.
    copied |= {name: [escaped(text) for text in values[name]] if any(values[name]) else "" for name in WORDS}
    chained = {name: texts(values[name], write) for name, write in CHAINED.items()}
    copied |= {"farm_id": str(came.farm.id), "zone": came.farm.time_zone, "received_at": moment}
    copied |= {"corrects_id": NULL, "correction_kind": "", "entry": str(came.entry)}
    pairs = set(zip(values["hung_on"], values["taken_on"], strict=True))
    weeks = {week_of(hung, taken) for hung, taken in pairs}
    return Rows(len(values["id"]), copied, chained, rounds, _fresh(values["placement_id"], placements), weeks)


def _ids(column: Sequence[str | None]) -> list[str]:
    return [NULL if value is None else value for value in column]


def _fresh(ids: Sequence[str | None], there: set[str]) -> list[bool]:
    """Where a placement is named for the first time and isn't there yet."""
    different = set(ids)
    if len(different) == len(ids) and None not in different and different.isdisjoint(there):
        return [True] * len(ids)
    seen: set[str | None] = {None, *there}
    fresh = []
    for each_id in ids:
        fresh.append(each_id not in seen)
        seen.add(each_id)
    return fresh


IDS = ("id", "round_id", "station_id", "placement_id")
WORDS = ("pen", "weather")
FLAGS = ("at_least", "bunching", "sprayed")
COPIED: dict[str, Callable[[Any], str]] = {
    **dict.fromkeys(("hung_on", "taken_on", "count", "sides", "time_of_day"), plain),
    **dict.fromkeys(("method", "how", "reason"), str),
    **dict.fromkeys(FLAGS, {True: "t", False: "f", None: NULL}.__getitem__),
    "fraction": lambda part: f"{part:.4f}",
    "animals": lambda flies: NULL if flies is None else "{" + ",".join(map(str, flies)) + "}",
}
CHAINED: dict[str, Callable[[Any], str]] = {
    **dict.fromkeys(WORDS, lambda text: json.dumps(text, ensure_ascii=False)),
    **dict.fromkeys(FLAGS, {True: "true", False: "false", None: "null"}.__getitem__),
    "animals": lambda flies: "null" if flies is None else "[" + ",".join(map(str, flies)) + "]",
}
