"""A table that was understood, stored or looked at: with the buildings and stations that it needs, made first."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django.db import transaction

from farms.ledger import Actor
from farms.models import Facility, Farm
from farms.services import add_facility
from monitoring.csv_import.own.understand import Line, Understood
from monitoring.csv_import.read import read_csv
from monitoring.methods import METHODS
from monitoring.services import ImportPlan, ImportResult, NewStation, SitingData, add_stations, record_table


@dataclass(frozen=True)
class NewPlace:
    """A station that a table names and the farm doesn't have, since the first day that the table knows of it."""

    method: str
    number: int
    building: str
    since: date

    @property
    def label(self) -> str:
        return str(METHODS[self.method].station_name).format(number=self.number)


@dataclass(frozen=True)
class NewBuilding:
    """A building that is made for new stations."""

    name: str
    kind: str


# By what the table calls it: the farm's own building, or one to be made. What isn't here stays unmade.
Homes = Mapping[str, Facility | NewBuilding]


@dataclass(frozen=True)
class NewGround:
    """The stations that a table needs, and where they are."""

    places: Sequence[NewPlace]
    homes: Homes


def new_places(lines: Collection[Line], stations: Collection[Any]) -> list[NewPlace]:
    """The stations that these lines name and the farm doesn't have, by method and number."""
    here = {(each.method, each.number) for each in stations}
    first: dict[tuple[str, int], NewPlace] = {}
    for line in lines:
        key = line.method, line.number
        if key in here:
            continue
        since, known = line.hung_on or line.taken_on, first.get(key)
        if known is None or since < known.since:
            first[key] = NewPlace(*key, known.building if known and known.building else line.building, since)
    return [first[key] for key in sorted(first)]


@transaction.atomic
def take_own(
    *, farm: Farm, understood: Understood, ground: NewGround, actor: Actor, now: datetime, dry_run: bool
) -> ImportResult:
    """Store what was understood, with its new places, or only say what that would bring. One transaction."""
    before = transaction.savepoint()
    make_places(farm=farm, ground=ground)
    plan = ImportPlan(dry_run=dry_run, source="file")
    result = record_table(farm=farm, table=read_csv(understood.content()), plan=plan, actor=actor, now=now)
    if dry_run:
        transaction.savepoint_rollback(before)
    return result


@transaction.atomic
def make_places(*, farm: Farm, ground: NewGround) -> None:
    """Make the buildings and stations that are needed, at the end of the walk."""
    made: dict[NewBuilding, Facility] = {}
    position = Facility.objects.filter(farm_id=farm.id).count()
    for place in ground.places:
        home = ground.homes.get(place.building)
        if home is None:
            continue
        if isinstance(home, NewBuilding):
            if home not in made:
                position += 1
                made[home] = add_facility(farm=farm, name=home.name, kind=home.kind, position=position)
            home = made[home]
        new = NewStation(home, place.method, place.number, SitingData(position=place.number))
        add_stations(farm=farm, stations=[new], since=place.since)
