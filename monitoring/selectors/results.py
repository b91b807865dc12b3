"""What one round found: each facility's mean, how it stands to the action level, and one place to look."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from uuid import UUID

import numpy as np

from farms.models import Facility, Farm
from monitoring.analysis.action_level import compare_with_level
from monitoring.analysis.farm_mean import STATIONS_FOR_AN_INTERVAL, WeeklyMeans, weekly_means
from monitoring.analysis.hot_station import hot_stations, question_on_the_spot
from monitoring.analysis.leg_count import leg_means_of_sums
from monitoring.analysis.rates import DEVICE_DAYS, PER_ANIMAL, Readings, StationWeeks, station_weeks
from monitoring.analysis.shapes import Floats, Ints, Words
from monitoring.analysis.weeks import middle_day
from monitoring.methods import METHODS, Method
from monitoring.models import Reading, Station
from monitoring.models.reading import CorrectionKind
from monitoring.selectors.stations import sited

# The action level of a method in a facility, in the method's unit; None where none is set.
LevelOf = Callable[[str, UUID], float | None]


@dataclass(frozen=True)
class PlaceToLook:
    """The station that holds most: its share of the facility's total (0 to 1), and the question to check on the spot.

    The question is a code of monitoring.analysis.hot_station.
    """

    station: Station
    share: float
    question: str


@dataclass(frozen=True)
class FacilityResult:
    """One facility and method in one round. `mean` is None where nothing was counted, never zero for it.

    `word` is "below", "near", "over" or "none" (no count, or no level). `devices` were counted, `missing` were not.
    `place` is None where no station stands out.
    """

    facility: Facility
    method: Method
    mean: float | None
    at_least: bool
    devices: int
    missing: int
    level: float | None
    word: str
    place: PlaceToLook | None


def round_result(
    farm: Farm, found: Sequence[Reading], level_of: LevelOf = lambda method, facility_id: None
) -> list[FacilityResult]:
    """A round's results in walking order of facilities, by its current readings. One query: how the stations stand.

    `found` are all its readings in walking order, with their stations and facilities (`readings_of_round`).
    """
    sited(farm, _stations_of(current_of(found)))
    return pooled_result(found, level_of)


def pooled_result(
    found: Sequence[Reading], level_of: LevelOf = lambda method, facility_id: None
) -> list[FacilityResult]:
    """The same of readings of one round or more, pooled as a week's are, that know how their stations stand."""
    readings = current_of(found)
    if not readings:
        return []
    stations = _stations_of(readings)
    pairs = list(dict.fromkeys((station.facility_id, station.method) for station in stations))
    owner = np.array([pairs.index((station.facility_id, station.method)) for station in stations], np.int64)
    weeks = _rates(readings, stations)
    means = weekly_means(weeks, owner, len(pairs))
    levels = [level_of(method, facility_id) for facility_id, method in pairs]
    comparison = np.array([METHODS[method].comparison for _, method in pairs])
    level = np.array([np.nan if value is None else value for value in levels], np.float64)
    words = compare_with_level(means, level, comparison)
    places = _places(weeks, owner, stations, len(pairs))
    first = {pair: next(s for s in stations if (s.facility_id, s.method) == pair) for pair in pairs}
    return [
        _result(means, row, words, facility=first[pair].facility, method=METHODS[pair[1]], level=levels[row],
                place=places[row])
        for row, pair in enumerate(pairs)
    ]  # fmt: skip


def round_ranges(found: Sequence[Reading]) -> dict[tuple[UUID, str], tuple[float | None, float | None]]:
    """The range in which each facility's mean of a round may lie, by facility and method; None where no end is known.

    As a weekly check gives it: from three stations on, and of legs at fewer places from their animals.
    """
    readings = current_of(found)
    if not readings:
        return {}
    stations = _stations_of(readings)
    pairs = list(dict.fromkeys((station.facility_id, station.method) for station in stations))
    owner = np.array([pairs.index((station.facility_id, station.method)) for station in stations], np.int64)
    means = weekly_means(_rates(readings, stations), owner, len(pairs))
    interval = means.interval()
    low, high = interval.low[:, 0], interval.high[:, 0]
    few = means.stations[:, 0] < STATIONS_FOR_AN_INTERVAL
    for row in np.flatnonzero(few):
        low[row], high[row] = _ends_by_animals([each for each in readings if _pair_of(each) == pairs[row]])
    return {pair: (_number(low[row]), _number(high[row])) for row, pair in enumerate(pairs)}


def _stations_of(readings: Sequence[Reading]) -> list[Station]:
    return list({reading.station_id: reading.station for reading in readings}.values())


def _pair_of(reading: Reading) -> tuple[UUID, str]:
    return reading.station.facility_id, reading.method


def _ends_by_animals(readings: Sequence[Reading]) -> tuple[float, float]:
    """The ends from the animals of leg counts; NaN for what hangs."""
    flies = [reading.animals for reading in readings if reading.animals]
    if not flies:
        return np.nan, np.nan
    sums = np.array([(len(own), sum(own), _squares(own)) for own in flies], np.float64)
    legs = leg_means_of_sums(sums[:, 0], sums[:, 1], sums[:, 2], np.zeros(len(flies), np.int64), 1)
    return float(legs.low[0]), float(legs.high[0])


def _squares(flies: Sequence[int]) -> int:
    return sum(each * each for each in flies)


def _number(value: float) -> float | None:
    return None if np.isnan(value) else float(value)


def current_of(readings: Sequence[Reading]) -> list[Reading]:
    """Without those that another of them corrects, and without the withdrawn; a correction is of the same round."""
    corrected = {reading.corrects_id for reading in readings}
    stand = (reading for reading in readings if reading.id not in corrected)
    return [reading for reading in stand if reading.correction_kind != CorrectionKind.WITHDRAWN]


def _rates(readings: Sequence[Reading], stations: Sequence[Station]) -> StationWeeks:
    """The rates of the stations, the whole round pooled as if it were one week."""
    place = {station.id: number for number, station in enumerate(stations)}
    taken = np.array([reading.taken_on for reading in readings], "M8[D]")
    columns = Readings(
        station=np.array([place[reading.station_id] for reading in readings], np.int64),
        week=np.zeros(len(readings), np.int64),
        middle=middle_day(np.array([reading.hung_on or reading.taken_on for reading in readings], "M8[D]"), taken),
        count=_floats([reading.count for reading in readings]),
        part=np.array([float(reading.fraction) for reading in readings], np.float64),
        exposure=_floats([exposure_of(reading) for reading in readings]),
        at_least=np.array([reading.at_least for reading in readings], np.bool_),
        how=np.array([reading.how for reading in readings], np.str_),
    )
    per = np.array([DEVICE_DAYS if METHODS[station.method].hangs else PER_ANIMAL for station in stations], np.float64)
    return station_weeks(columns, n_stations=len(stations), n_weeks=1, per=per)


def exposure_of(reading: Reading) -> int | None:
    """Days up, or animals looked at; None where nothing says."""
    if reading.animals is not None:
        return len(reading.animals)
    return (reading.taken_on - reading.hung_on).days if reading.hung_on else None


def _floats(values: Sequence[int | None]) -> Floats:
    return np.array([np.nan if value is None else value for value in values], np.float64)


def _places(weeks: StationWeeks, owner: Ints, stations: Sequence[Station], n_owners: int) -> list[PlaceToLook | None]:
    sitings = [getattr(station, "siting", None) for station in stations]
    questions = question_on_the_spot(
        np.array([siting is not None and siting.windy for siting in sitings], np.bool_),
        np.array([siting.near if siting is not None else "nothing" for siting in sitings], np.str_),
    )
    hot = hot_stations(weeks, owner, n_owners, week=0)
    found: list[PlaceToLook | None] = []
    for row in range(n_owners):
        holders = hot.holders(row)
        at = int(holders[0]) if len(holders) else -1
        found.append(PlaceToLook(stations[at], float(hot.share[at]), str(questions[at])) if at >= 0 else None)
    return found


def _result(means: WeeklyMeans, row: int, words: Words, **given: object) -> FacilityResult:
    mean = float(means.mean[row, 0])
    return FacilityResult(
        mean=None if np.isnan(mean) else mean,
        at_least=bool(means.at_least[row, 0]),
        devices=int(means.devices[row, 0]),
        missing=int(means.missing[row, 0]),
        word=str(words[row, 0]),
        **given,  # type: ignore[arg-type]
    )
