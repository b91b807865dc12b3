"""Which card or trap was read: what hangs and hung at some stations, and which of it a reading takes down."""

from collections import defaultdict
from collections.abc import Collection
from dataclasses import dataclass, field
from datetime import date
from typing import Any
from uuid import UUID

from django.db import connection

from monitoring.rules.readings import MOST_DAYS_UP
from monitoring.services.ids import placement_id


@dataclass
class Hanging:
    """A card or trap at a station. `ended_by` are readings stored before; `taken` marks it read in this sending."""

    id: UUID
    station_id: UUID
    hung_on: date
    ended_by: list[UUID] = field(default_factory=list)
    ended_on: date | None = None
    taken: bool = False
    is_new: bool = False

    @property
    def is_up(self) -> bool:
        return not self.ended_by and not self.taken


@dataclass
class Hangings:
    """What hangs and hung at a farm's stations, by station, the earliest first."""

    by_station: dict[UUID, list[Hanging]]
    by_id: dict[UUID, Hanging]

    def up(self, station_id: UUID, before: date) -> list[Hanging]:
        """What hung there before a day and isn't taken down."""
        return [each for each in self.by_station[station_id] if each.is_up and each.hung_on < before]

    def taken_down(self, station_id: UUID, on: date) -> list[Hanging]:
        """What was taken down there on a day, by an earlier sending."""
        return [each for each in self.by_station[station_id] if each.ended_on == on]

    def hung(self, station_id: UUID, on: date) -> list[Hanging]:
        return [each for each in self.by_station[station_id] if each.hung_on == on]

    def add(self, hanging: Hanging) -> Hanging:
        self.by_station[hanging.station_id].append(hanging)
        self.by_id[hanging.id] = hanging
        return hanging

    def hang(self, station_id: UUID, on: date) -> Hanging:
        """One more, whose id follows from where and when it hung and how many hung there that day before."""
        number = len(self.hung(station_id, on))
        made = Hanging(placement_id(station_id, on, number), station_id, on, is_new=True)
        while made.id in self.by_id:
            number += 1
            made.id = placement_id(station_id, on, number)
        return self.add(made)

    def new(self) -> list[Hanging]:
        return [each for each in self.by_id.values() if each.is_new]


PLACEMENTS = """
SELECT id, station_id, hung_on FROM monitoring_placement
WHERE farm_id = %(farm)s
  AND (station_id = ANY(%(stations)s::uuid[]) AND hung_on >= %(earliest)s OR id = ANY(%(named)s::uuid[]))
ORDER BY hung_on, id
"""
# A reading takes its card down for good, also one that was corrected later: where the card still hangs after all, the
# correction has hung it anew (services.correction). By the day, since nothing is read before it hangs.
ENDINGS = """
SELECT placement_id, id, taken_on FROM monitoring_reading
WHERE farm_id = %(farm)s AND taken_on >= %(earliest)s AND station_id = ANY(%(stations)s::uuid[])
  AND placement_id IS NOT NULL AND reason NOT IN ('kept_out', 'not_visited')
ORDER BY received_at, id
"""


def hangings_of(farm_id: UUID, station_ids: Collection[UUID], *, since: date, named: Collection[UUID] = ()) -> Hangings:
    """What hung at these stations since 60 days before a day, and whatever is named by its id. Two queries."""
    earliest = date.fromordinal(max(1, since.toordinal() - MOST_DAYS_UP))
    asked: dict[str, Any] = {"farm": farm_id, "stations": list(station_ids), "earliest": earliest, "named": list(named)}
    found = Hangings(defaultdict(list), {})
    with connection.cursor() as cursor:
        cursor.execute(PLACEMENTS, asked)
        for hung in cursor.fetchall():
            found.add(Hanging(*hung))
        asked["stations"] = list(found.by_station)
        asked["earliest"] = min((each.hung_on for each in found.by_id.values()), default=earliest)
        cursor.execute(ENDINGS, asked)
        for placement, reading, taken_on in cursor.fetchall():
            if (hanging := found.by_id.get(placement)) is not None:
                hanging.ended_by.append(reading)
                hanging.ended_on = taken_on
    return found
