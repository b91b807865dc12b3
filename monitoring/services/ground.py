"""What every way in stands on: the farm's stations, its seasons and its day."""

from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from farms.clock import local_date, monday_of
from farms.models import Farm, Season
from monitoring.methods import METHODS
from monitoring.models import Station
from monitoring.rules.readings import NOWHERE, Calendar, StationFacts


@dataclass(frozen=True)
class Ground:
    """A farm as the rules see it. `places` finds a station's index by its id as text or by (method, number)."""

    farm: Farm
    stations: Sequence[StationFacts]
    places: Mapping[Hashable, int]
    calendar: Calendar

    def places_of(self, names: Sequence[Hashable]) -> list[int]:
        """Each station's index in `stations`, NOWHERE for one that the farm hasn't."""
        find = self.places.get
        return [find(name, NOWHERE) for name in names]

    def station_named(self, name: Hashable) -> StationFacts | None:
        """A station by its id as text or by (method, number)."""
        place = self.places.get(name)
        return None if place is None else self.stations[place]


def ground_of(farm: Farm, now: datetime) -> Ground:
    """The farm's stations, seasons and local day. Two queries."""
    rows = Station.objects.filter(farm_id=farm.id).values_list("id", "method", "number", "since", "until")
    stations: list[StationFacts] = []
    places: dict[Hashable, int] = {}
    for place, (station_id, method, number, since, until) in enumerate(rows.order_by("id")):
        label = str(METHODS[method].station_name).format(number=number)
        stations.append(StationFacts(str(station_id), method, label, since, until))
        places[str(station_id)] = places[method, number] = place
    seasons = Season.objects.filter(farm_id=farm.id).values_list("opens_on", "closes_on")
    return Ground(farm, stations, places, Calendar(local_date(now, farm.time_zone), list(seasons)))


def week_of(hung_on: date | None, taken_on: date) -> date:
    """The Monday of the week that holds the middle day of an exposure, the earlier of two.

    monitoring.analysis.weeks says the same for arrays.
    """
    hung = hung_on or taken_on
    return monday_of(hung + timedelta(days=(taken_on - hung).days // 2))
