"""Stations: numbered places, and how they stand."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.db import transaction
from django.utils.translation import gettext_lazy as _

from farms.constraints import explained
from farms.errors import Detail
from farms.models import Facility, Farm
from monitoring.errors import SitedTwice, StationNumberTaken, StationRefused
from monitoring.methods import METHODS
from monitoring.models import Siting, Station
from monitoring.models.station import Near
from monitoring.rules.cells import WrongCell, day
from monitoring.rules.readings import day_text
from monitoring.rules.stations import MOST_STATIONS

METHOD_UNKNOWN = _("There is no such method. Use one of: {methods}.")
NUMBER_WRONG = _("Stations are numbered from 1. Give a whole number.")
NEAR_UNKNOWN = _("Say what is near with one of: {words}.")
OFF_THE_PLAN = _("A place on the plan has two numbers, each from 0 to 1. Give both, or neither.")
FACILITY_ELSEWHERE = _("This barn or lot isn't one of this farm's. Choose one of the farm's own.")
BEFORE_THE_STATION = _("{label} is in use from {since} on only. Give that day or a later one.")
POSITION_WRONG = _("The place in the walking order is a whole number from 0.")


@dataclass(frozen=True)
class SitingData:
    """How a station stands: wind, what is near (models.station.Near), out of reach.

    x and y on the plan go from 0 (left, top) to 1; `position` is its place in the walking order of its facility.
    """

    windy: bool = False
    near: str = "nothing"
    out_of_reach: bool | None = None
    x: float | None = None
    y: float | None = None
    position: int = 0


@transaction.atomic
def add_station(
    *, farm: Farm, facility: Facility, method: str, number: int, since: date, siting: SitingData
) -> Station:
    """Add a numbered place where one method is used. Raises StationRefused or StationNumberTaken."""
    errors = _siting_faults(siting)
    if method not in METHODS:
        errors.append(Detail("/method", str(METHOD_UNKNOWN).format(methods=", ".join(METHODS)), "method_unknown"))
    if type(number) is not int or not 1 <= number <= MOST_STATIONS:
        errors.append(Detail("/number", str(NUMBER_WRONG), "number_wrong"))
    if facility.farm_id != farm.id:
        errors.append(Detail("/facility", str(FACILITY_ELSEWHERE), "unknown_facility"))
    try:
        day(since)
    except WrongCell as error:
        errors.append(Detail("/since", str(error.reason), error.code))
    if errors:
        raise StationRefused(errors=errors)
    label = str(METHODS[method].station_name).format(number=number)
    with explained({"station_number_once_a_method": StationNumberTaken(pointer="/number", label=label)}):
        station = Station.objects.create(
            farm_id=farm.id,
            facility_id=facility.id,
            method=method,
            number=number,
            position=siting.position,
            since=since,
        )
    Siting.objects.create(**_siting_values(station, siting, since))
    return station


@dataclass(frozen=True)
class NewStation:
    """A place to be made: where, by which method, its number and its place in the walking order."""

    facility: Facility
    method: str
    number: int
    siting: SitingData


@transaction.atomic
def add_stations(*, farm: Farm, stations: Sequence[NewStation], since: date) -> list[Station]:
    """Add many places, or none where one is refused. Raises what add_station does."""
    return [
        add_station(
            farm=farm, facility=each.facility, method=each.method, number=each.number, since=since, siting=each.siting
        )
        for each in stations
    ]  # fmt: skip


@transaction.atomic
def resite_station(*, farm: Farm, station: Station, siting: SitingData, since: date) -> Siting:
    """Note how a station stands from a day on; the earlier record stays. Raises StationRefused or SitedTwice."""
    errors = _siting_faults(siting)
    if since < station.since:
        reason = str(BEFORE_THE_STATION).format(label=station.label, since=day_text(station.since))
        errors.append(Detail("/since", reason, "before_the_station"))
    if errors:
        raise StationRefused(errors=errors)
    taken = SitedTwice(pointer="/since", label=station.label, since=day_text(since))
    with explained({"siting_once_a_day": taken}):
        added = Siting.objects.create(**_siting_values(station, siting, since))
    Station.objects.filter(farm_id=farm.id, id=station.id).update(position=siting.position)
    station.position = siting.position
    return added


def _siting_values(station: Station, siting: SitingData, since: date) -> dict[str, Any]:
    stands = {name: getattr(siting, name) for name in ("windy", "near", "out_of_reach", "x", "y")}
    return {"farm_id": station.farm_id, "station_id": station.id, "since": since, **stands}


def _siting_faults(siting: SitingData) -> list[Detail]:
    errors = []
    if siting.near not in Near.values:
        errors.append(Detail("/near", str(NEAR_UNKNOWN).format(words=", ".join(Near.values)), "near_unknown"))
    if (siting.x is None) != (siting.y is None) or any(
        value is not None and not 0 <= value <= 1 for value in (siting.x, siting.y)
    ):
        errors.append(Detail("/x", str(OFF_THE_PLAN), "off_the_plan"))
    if type(siting.position) is not int or not 0 <= siting.position <= MOST_STATIONS:
        errors.append(Detail("/position", str(POSITION_WRONG), "position_wrong"))
    return errors
