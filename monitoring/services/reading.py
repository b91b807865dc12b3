"""One reading among those sent: its columns, its row, and whether a stored one says the same."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any
from uuid import UUID

from farms.models import Farm
from monitoring.methods import CARD
from monitoring.models import Placement, Reading
from monitoring.rules.readings import StationFacts
from monitoring.rules.table import ReadingTable, typed_table
from monitoring.services.placing import Hanging
from monitoring.services.sent import ReadingSent

# Where a column of the rules and what was sent are named differently.
SENT_NAMES = {"station": "station_id", "placement": "placement_id"}
# What two people who counted the same card have to agree on.
COUNTED = ("how", "count", "fraction", "at_least", "reason", "animals")
BESIDES = ("pen", "time_of_day", "weather", "bunching", "sprayed")


@dataclass(frozen=True)
class Came:
    """Where and when rows come in: what every row of one sending has in common."""

    farm: Farm
    entry: int
    now: datetime


def table_of_readings(readings: Sequence[ReadingSent], walked_on: date, *, single: bool = False) -> ReadingTable:
    """What was sent as columns, the round's day standing where a reading names none. `single`: it isn't in a list."""
    names = [name for name in ReadingSent.__dataclass_fields__ if name not in SENT_NAMES.values()]
    values: dict[str, list[Any]] = {name: [getattr(each, name) for each in readings] for name in names}
    values |= {name: [getattr(each, theirs) for each in readings] for name, theirs in SENT_NAMES.items()}
    values["taken_on"] = [day or walked_on for day in values["taken_on"]]
    rows, pointer = (None, "") if single else (range(len(readings)), "/readings")
    return typed_table(values, rows=rows, pointer=pointer, names=SENT_NAMES)


def reading_values(table: ReadingTable, place: int, station: StationFacts, farm: Farm) -> dict[str, Any]:
    """The columns of the reading at a place as its row will have them, without where it hung."""
    columns = table.columns
    animals = columns.animals[place]
    sides = columns.sides[place] or (farm.group.sides_counted if station.method == CARD.code else 1)
    same = {name: getattr(columns, name)[place] for name in ("taken_on", *COUNTED, *BESIDES)}
    return same | {
        "station_id": UUID(station.id),
        "method": station.method,
        "sides": sides,
        "animals": None if animals is None else list(animals),
    }


def reading_row(came: Came, values: Mapping[str, Any]) -> Reading:
    return Reading(farm_id=came.farm.id, zone=came.farm.time_zone, received_at=came.now, entry=came.entry, **values)


def placement_rows(came: Came, hangings: Sequence[Hanging]) -> list[Placement]:
    farm = came.farm
    return [
        Placement(
            farm_id=farm.id, id=each.id, station_id=each.station_id, hung_on=each.hung_on, zone=farm.time_zone,
            entry=came.entry,
        )
        for each in hangings
    ]  # fmt: skip


def says_the_same(stored: Reading, values: Mapping[str, Any], names: Sequence[str]) -> bool:
    return all(getattr(stored, name) == values[name] for name in names)


def sent_again(stored: Reading, values: Mapping[str, Any], table: ReadingTable, place: int) -> bool:
    """Whether a known id was sent again with what is stored; what is filled in here counts only if it was sent."""
    columns, placement = table.columns, stored.placement_id
    return (
        says_the_same(stored, values, ("station_id", "taken_on", *COUNTED, *BESIDES))
        and columns.sides[place] in (None, stored.sides)
        and columns.hung_on[place] in (None, stored.hung_on)
        and columns.placement[place] in (None, str(placement) if placement else None)
    )


def told(stored: Reading, label: str) -> dict[str, Any]:
    """A stored reading as a conflict tells of it."""
    return {
        "id": str(stored.id),
        "station_id": str(stored.station_id),
        "label": label,
        "how": stored.how,
        "count": stored.count,
        "fraction": str(stored.fraction),
        "at_least": stored.at_least,
        "reason": stored.reason,
        "animals": stored.animals,
        "hung_on": stored.hung_on.isoformat() if stored.hung_on else None,
        "taken_on": stored.taken_on.isoformat(),
        "received_at": stored.received_at.isoformat(),
    }
