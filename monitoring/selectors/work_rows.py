"""Which readings speak of a deed: the stations where it was done, those beside it, and on which side they lie."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from uuid import UUID

import numpy as np
from numpy.typing import NDArray

from farms.clock import monday_of
from farms.models import Facility
from monitoring.analysis.shapes import Bools, Ints
from monitoring.arrays import CheckArrays
from monitoring.methods import METHODS
from monitoring.selectors.deeds import Deed
from monitoring.selectors.programmes import GENERATION
from monitoring.selectors.work_windows import LOOK_AHEAD, LOOK_BACK, Timeline, Window, window_of

# Weeks counted from the work: four before, and four after the longest settling, a generation of flies.
COLUMNS = np.arange(-(LOOK_BACK // timedelta(weeks=1)), (GENERATION + LOOK_AHEAD) // timedelta(weeks=1) + 1)
# With so many of its own kind a place is set beside those alone.
ALIKE = 2


@dataclass(frozen=True)
class DeedRow:
    """One deed and method: the stations that speak of it, as places in the arrays, and where they stand.

    `place` numbers the facilities beside the deed's, from 0.
    """

    window: Window
    method: str
    farm: int
    stations: Ints
    treated: Bools
    place: Ints


def kinds_of(farm_ids: Sequence[UUID]) -> dict[int, str]:
    """The kind of each facility, by its id as a number. One query."""
    rows = Facility.objects.filter(farm_id__in=farm_ids).values_list("id", "kind")
    return {facility_id.int: kind for facility_id, kind in rows}


def windows_of(deeds: Sequence[Deed], known: Sequence[Deed], on: date) -> list[tuple[Window, str]]:
    """A window for each deed and method, between all other deeds of its farm."""
    of_farm: dict[UUID, list[Deed]] = defaultdict(list)
    for each in {each.id: each for each in (*known, *deeds)}.values():
        of_farm[each.farm_id].append(each)
    farms = {farm_id: Timeline.of(found) for farm_id, found in of_farm.items()}
    return [(window_of(deed, method, farms[deed.farm_id], on), method) for deed in deeds for method in METHODS]


def row_of(
    arrays: CheckArrays, facility: NDArray[np.object_], kinds: Mapping[int, str], window: Window, method: str
) -> DeedRow:
    """The stations of a method on the deed's farm, without those where something else was done meanwhile.

    Places of the same kind are compared, where there are two of them; else all.
    """
    farm, where = arrays.farm_ids.index(window.deed.farm_id), window.deed.facility_id
    of_method = np.flatnonzero((arrays.station_farm == farm) & (arrays.station_method == method))
    stays = ~np.isin(facility[of_method], [place.int for place in window.worked_elsewhere])
    stations = of_method[stays]
    places = list(dict.fromkeys(facility[stations]))
    if where is not None:
        alike = [place for place in places if place != where.int and kinds.get(place) == kinds.get(where.int)]
        if len(alike) >= ALIKE:
            stations = stations[np.isin(facility[stations], [*alike, where.int])]
    treated = np.full(stations.size, fill_value=True) if where is None else facility[stations] == where.int
    others = list(dict.fromkeys(facility[stations[~treated]]))
    place = np.array([others.index(each) if each in others else 0 for each in facility[stations]], np.int64)
    return DeedRow(window, method, farm, stations, np.asarray(treated, np.bool_), place)


def iso_weeks(window: Window) -> list[date]:
    """The Monday of the ISO week that holds the middle of each column."""
    half = timedelta(days=3)
    return [
        monday_of((window.day if column < 0 else window.last) + timedelta(weeks=int(column)) + half)
        for column in COLUMNS
    ]


def days_after(arrays: CheckArrays, readings: Ints, row: DeedRow) -> tuple[Ints, Bools]:
    """How many days after the deed the middle of each exposure lies, and whether it speaks of before or after.

    What hung across its day, or across the days from its first to its last, speaks of neither, nor does what was
    counted before flies had settled.
    """
    window, hangs = row.window, METHODS[row.method].hangs
    middle = (arrays.middle[readings] - np.datetime64(window.day)).astype(np.int64)
    days = arrays.exposure[readings].astype(np.int64) if hangs else np.zeros(readings.size, np.int64)
    hung = middle - days // 2
    taken, took = hung + days, (window.last - window.day).days
    before = (hung >= (window.begins - window.day).days) & (taken <= (0 if hangs else -1)) & (middle < 0)
    after = (hung >= took) & (middle >= took + window.settles.days) & (taken <= (window.ends - window.day).days)
    return np.where(before, middle, middle - took), before | after
