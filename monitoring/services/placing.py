"""Which card or trap was read: what hangs and hung at some stations, and which of it a reading takes down."""

from collections import defaultdict
from collections.abc import Collection, Iterable
from dataclasses import dataclass, field
from datetime import date, timedelta
from uuid import UUID

from monitoring.models import Placement, Reading
from monitoring.models.reading import LEAVES_IT_UP
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


def hangings_of(farm_id: UUID, station_ids: Collection[UUID], *, since: date, named: Collection[UUID] = ()) -> Hangings:
    """What hung at these stations since 60 days before a day, and whatever is named by its id. Two queries."""
    earliest = since - timedelta(days=MOST_DAYS_UP)
    placements = Placement.objects.filter(farm_id=farm_id)
    recent = placements.filter(station_id__in=station_ids, hung_on__gte=earliest)
    wanted = recent | placements.filter(id__in=named) if named else recent
    found = Hangings(defaultdict(list), {})
    for hung in wanted.order_by("hung_on", "id").values_list("id", "station_id", "hung_on"):
        found.add(Hanging(*hung))
    for placement, reading, taken_on in _endings(farm_id, found.by_id):
        found.by_id[placement].ended_by.append(reading)
        found.by_id[placement].ended_on = taken_on
    return found


def _endings(farm_id: UUID, placement_ids: Iterable[UUID]) -> list[tuple[UUID, UUID, date]]:
    # A reading takes its card down for good, also one that was corrected later: where the card still hangs after all,
    # the correction has hung it anew (services.correction).
    ending = Reading.objects.filter(farm_id=farm_id, placement_id__in=list(placement_ids))
    ended = ending.exclude(reason__in=LEAVES_IT_UP).order_by("received_at", "id")
    rows = ended.values_list("placement_id", "id", "taken_on")
    return [(placement, reading, taken_on) for placement, reading, taken_on in rows if placement is not None]
