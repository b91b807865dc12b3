"""A farm's stations in walking order, how they stand, and what hangs there."""

from collections import defaultdict
from collections.abc import Collection
from dataclasses import dataclass
from datetime import date, timedelta
from uuid import UUID

from django.db.models import Exists, OuterRef, Q, QuerySet

from farms.lookups import array_of
from farms.models import Farm
from monitoring.models import Placement, Reading, Siting, Station
from monitoring.models.reading import LEAVES_IT_UP
from monitoring.rules.readings import MOST_DAYS_UP


@dataclass(frozen=True)
class SheetHanging:
    """A card or trap that hangs at a station, and for how many days on the day of the sheet."""

    placement: Placement
    days: int


@dataclass(frozen=True)
class SheetPlace:
    """A station on a round's sheet. `hangings` is empty where nothing hangs: for leg counts, and before a first visit.

    `station.facility` and `station.siting` (None where it was never noted) are there without a further query.
    """

    station: Station
    hangings: tuple[SheetHanging, ...]


def stations_of(farm: Farm, on: date | None = None) -> list[Station]:
    """The farm's stations in walking order, each with its facility and with `siting`, the latest; two queries.

    With `on`, those in use on that day, as they stood then.
    """
    stations = Station.objects.filter(farm_id=farm.id).select_related("facility")
    if on is not None:
        stations = stations.filter(Q(until__isnull=True) | Q(until__gte=on), since__lte=on)
    rows = list(stations.order_by("facility__position", "facility__name", "position", "method", "number"))
    return sited(farm, rows, on)


def stations_of_farms(farm_ids: Collection[UUID], numbers: Collection[int], on: date) -> QuerySet[Station]:
    """Those of many farms that have one of these numbers and are in use on a day."""
    stations = Station.objects.filter(Q(until__isnull=True) | Q(until__gte=on), farm_id__any_of=array_of(farm_ids))
    return stations.filter(number__in=numbers).order_by("farm_id", "method", "number")


def has_stations(farm: Farm) -> bool:
    """Whether the farm has any numbered place, used or ended."""
    return Station.objects.filter(farm_id=farm.id).exists()


def sited(farm: Farm, stations: list[Station], on: date | None = None) -> list[Station]:
    """These stations, each with `siting`, the latest (on that day), or None; one query."""
    return sited_of_farms([farm.id], stations, on)


def sited_of_farms(farm_ids: Collection[UUID], stations: list[Station], on: date | None = None) -> list[Station]:
    """The same of stations of some farms."""
    wanted = array_of({station.id for station in stations})
    sitings = Siting.objects.filter(farm_id__any_of=array_of(farm_ids), station_id__any_of=wanted).order_by(
        "since", "id"
    )
    if on is not None:
        sitings = sitings.filter(since__lte=on)
    latest = {siting.station_id: siting for siting in sitings}
    for station in stations:
        station.siting = latest.get(station.id)  # type: ignore[attr-defined]
    return stations


def round_sheet(farm: Farm, day: date) -> list[SheetPlace]:
    """What a round on a day walks: the stations in use, in walking order, each with what hangs there. Three queries.

    What was hung on the day itself is listed too, with 0 days: it can be read from the next day on.
    """
    hanging: dict[UUID, list[SheetHanging]] = defaultdict(list)
    for placement in open_placements(farm.id, day):
        hanging[placement.station_id].append(SheetHanging(placement, (day - placement.hung_on).days))
    return [SheetPlace(station, tuple(hanging[station.id])) for station in stations_of(farm, day)]


def open_placements(farm_id: UUID, day: date, station_ids: Collection[UUID] | None = None) -> list[Placement]:
    """What hangs on a day: hung in the 60 days before it, and taken down by no reading; the earliest first."""
    ends = Reading.objects.filter(farm_id=OuterRef("farm_id"), placement_id=OuterRef("id")).exclude(
        reason__in=LEAVES_IT_UP
    )
    # Two conditions, as the unique index that answers the first one holds no corrections.
    placements = Placement.objects.filter(
        ~Exists(ends.filter(corrects_id__isnull=True)),
        ~Exists(ends.filter(corrects_id__isnull=False)),
        farm_id=farm_id,
        hung_on__range=(day - timedelta(days=MOST_DAYS_UP), day),
    )
    if station_ids is not None:
        placements = placements.filter(station_id__in=station_ids)
    return list(placements.order_by("hung_on", "id"))
