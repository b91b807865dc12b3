"""The season's numbers: simulated flies in every building of the scenario, and what each round found of them."""

import csv
import io
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from uuid import UUID

import numpy as np

from monitoring.analysis.shapes import Floats
from monitoring.analysis.simulated_counts import (
    Hangings,
    as_counted,
    catchability,
    counts_in_traps,
    counts_on_cards,
    counts_on_legs,
    without_lost,
)
from monitoring.analysis.simulated_flies import (
    HOUSE_FLY,
    STABLE_FLY,
    FlyKind,
    Places,
    activity_of,
    simulate_flies,
    usual_places,
    with_weekly_shock,
)
from monitoring.analysis.simulated_weather import HeatWave, Weather, season_weather
from server.demo import scenario
from server.demo.farmyard import Yard

# The flies begin four weeks before the first card is hung, on a Monday, so that a season is under way.
BEGINS = scenario.FIRST_HUNG - timedelta(days=28)
DAYS = (scenario.TODAY - BEGINS).days + 1
HEAT_WAVE = HeatWave(np.datetime64("2026-07-06"), days=9, hotter=5.0)
CORNER_CARD = 2.2  # how much more a card beside the uncleaned corner sees than the others of its barn
# How much room for maggots the scenario's buildings have, so that a usual farm stays below the action levels.
HOUSE_FLY_ROOM, STABLE_FLY_ROOM = 0.55, 0.48


@dataclass(frozen=True)
class Cell:
    """What a round found at one station, in the words of a sent reading."""

    station_id: UUID
    label: str
    hung_on: date | None
    taken_on: date
    count: int | None = None
    fraction: float = 1.0
    reason: str = ""
    animals: tuple[int, ...] | None = None

    @property
    def how(self) -> str:
        return "part" if self.fraction < 1 else "counted"


@dataclass(frozen=True)
class Season:
    """Everything that the rounds of all farms find, and the weather."""

    weather: Weather
    found: dict[tuple[UUID, date], list[Cell]]
    days: dict[UUID, list[date]]

    @classmethod
    def of(cls, yards: Sequence[Yard]) -> "Season":
        """Simulate the season of these farms. The same scenario gives the same numbers."""
        rng = np.random.default_rng(scenario.SEED)
        days = np.datetime64(BEGINS) + np.arange(DAYS)
        weather = season_weather(rng, days, len(scenario.REGIONS), heat_waves=[HEAT_WAVE])
        walked = {yard.farm.id: _walks(yard, number) for number, yard in enumerate(yards)}
        barns = _Barns.of(yards)
        house = barns.activity(rng, HOUSE_FLY, weather)
        stable = barns.activity(rng, STABLE_FLY, weather)
        found: dict[tuple[UUID, date], list[Cell]] = {}
        for yard, first in zip(yards, barns.first, strict=True):
            last = first + len(yard.buildings)
            for cell in _hung_cells(rng, yard, house[first:last], walked[yard.farm.id]):
                found.setdefault((yard.farm.id, cell.taken_on), []).append(cell)
            for cell in _leg_cells(rng, yard, stable[first:last], walked[yard.farm.id]):
                found.setdefault((yard.farm.id, cell.taken_on), []).append(cell)
        return cls(weather, found, walked)

    def temperatures(self, region: str) -> list[tuple[date, float, float]]:
        """A region's daily lowest and highest temperatures. [C]"""
        row = scenario.REGIONS.index(region)
        lowest, highest = self.weather.lowest[row], self.weather.highest[row]
        return [(BEGINS + timedelta(days=day), float(lowest[day]), float(highest[day])) for day in range(DAYS)]

    def round_day(self, yard: Yard, monday: date) -> date | None:
        """The day of the farm's round in the week that ends before a Monday; None where it did not count."""
        return next((day for day in self.days[yard.farm.id] if monday - timedelta(days=7) <= day < monday), None)

    def cells(self, yard: Yard, day: date) -> list[Cell]:
        return self.found[yard.farm.id, day]

    def as_csv(self, yard: Yard) -> str:
        """A farm's whole season as a spreadsheet would save it."""
        out = io.StringIO()
        writer = csv.writer(out)
        writer.writerow(["station", "hung on", "taken on", "count", "part", "reason", "animals"])
        for day in self.days[yard.farm.id]:
            for cell in self.cells(yard, day):
                writer.writerow(_csv_row(cell))
        return out.getvalue()


def _csv_row(cell: Cell) -> list[str]:
    legs = "" if cell.animals is None else " ".join(map(str, cell.animals))
    count = "" if cell.count is None or legs else str(cell.count)
    part = "" if cell.fraction == 1 else str(cell.fraction)
    return [cell.label, str(cell.hung_on or ""), str(cell.taken_on), count, part, cell.reason, legs]


def _walks(yard: Yard, number: int) -> list[date]:
    """The days of a farm's rounds: each week the same day from Friday to Sunday, until it stops."""
    offset = 6 - number % 3
    weeks = (scenario.TODAY - scenario.FIRST_HUNG).days // 7
    days = [scenario.FIRST_HUNG + timedelta(days=7 * week + offset) for week in range(weeks)]
    stops = yard.dairy.trouble.stops_on
    return [day for day in days if stops is None or day <= stops]


@dataclass(frozen=True)
class _Barns:
    """All buildings of all farms in one row, so that one call simulates them."""

    yards: Sequence[Yard]
    farm: np.ndarray
    region: np.ndarray
    first: list[int]

    @classmethod
    def of(cls, yards: Sequence[Yard]) -> "_Barns":
        sizes = [len(yard.buildings) for yard in yards]
        regions = [scenario.REGIONS.index(yard.dairy.region) for yard in yards]
        first = np.concatenate([[0], np.cumsum(sizes)[:-1]]).tolist()
        return cls(yards, np.repeat(np.arange(len(yards)), sizes), np.repeat(regions, sizes), first)

    def activity(self, rng: np.random.Generator, kind: FlyKind, weather: Weather) -> Floats:
        lowest, highest = weather.lowest[self.region], weather.highest[self.region]
        places = self._house_places(rng) if kind is HOUSE_FLY else self._stable_places(rng)
        flies = simulate_flies(kind, lowest, highest, places)
        return with_weekly_shock(rng, activity_of(flies, lowest, highest), self.farm)

    def _richness(self, rng: np.random.Generator) -> Floats:
        """What the buildings' kinds say, and how tidy each farm is."""
        tidy = np.exp(0.3 * rng.standard_normal(len(self.yards)))[self.farm]
        return tidy * np.array([building.richness for yard in self.yards for building in yard.dairy.buildings])

    def _house_places(self, rng: np.random.Generator) -> Places:
        places = usual_places(HOUSE_FLY_ROOM * self._richness(rng), DAYS)
        for yard, first in zip(self.yards, self.first, strict=True):
            trouble = yard.dairy.trouble
            if trouble.corner_from is not None:
                places = places.with_corner(first, _index(trouble.corner_from), trouble.corner_times)
            for day in trouble.cleaned_on:
                places = places.with_clean_out(first, _index(day), share=0.9, lasts=60)
        return places

    def _stable_places(self, rng: np.random.Generator) -> Places:
        many = np.array([yard.dairy.trouble.stable_flies for yard in self.yards])[self.farm]
        return usual_places(STABLE_FLY_ROOM * self._richness(rng) * many, DAYS)


def _index(day: date) -> int:
    return (day - BEGINS).days


def _hung_cells(rng: np.random.Generator, yard: Yard, activity: Floats, walked: list[date]) -> list[Cell]:
    """Cards and traps: one cell an exposure, from one round to the next."""
    names = list(yard.buildings)
    stations = [(station, building) for station, building in yard.stations if station.method != "leg"]
    starts = [scenario.FIRST_HUNG, *walked[:-1]]
    hangings = Hangings(
        station=np.repeat(np.arange(len(stations)), len(walked)),
        facility=np.repeat([names.index(building.name) for _, building in stations], len(walked)),
        hung=np.tile([_index(day) for day in starts], len(stations)),
        taken=np.tile([_index(day) for day in walked], len(stations)),
    )
    factor = _factors(rng, yard, stations)
    on_cards, in_traps = (draw(rng, activity, hangings, factor) for draw in (counts_on_cards, counts_in_traps))
    is_card = np.array([station.method == "card" for station, _ in stations])[hangings.station]
    counts, reasons = without_lost(rng, np.where(is_card, on_cards, in_traps))
    counted, parts = as_counted(rng, counts)
    parts, counted = np.where(is_card, parts, 1.0), np.where(is_card, counted, counts)
    return [
        Cell(
            station_id=stations[hangings.station[row]][0].id,
            label=stations[hangings.station[row]][0].label,
            hung_on=BEGINS + timedelta(days=int(hangings.hung[row])),
            taken_on=BEGINS + timedelta(days=int(hangings.taken[row])),
            count=None if np.isnan(counted[row]) else int(counted[row]),
            fraction=1.0 if np.isnan(counted[row]) else float(parts[row]),
            reason=str(reasons[row]),
        )
        for row in range(counts.size)
    ]


def _factors(rng: np.random.Generator, yard: Yard, stations: list) -> Floats:
    trouble = yard.dairy.trouble
    numbers = [station.number if station.method == "card" else 0 for station, _ in stations]
    windy = np.array([number in trouble.windy for number in numbers])
    near = np.array(["milk" if number in trouble.over_milk else "nothing" for number in numbers])
    corner = np.array([CORNER_CARD if number in trouble.corner else 1.0 for number in numbers])
    return catchability(rng, windy, near, scatter=0.35) * corner


def _leg_cells(rng: np.random.Generator, yard: Yard, activity: Floats, walked: list[date]) -> list[Cell]:
    """Leg counts: every round, on twelve animals of one building."""
    names = list(yard.buildings)
    cells = []
    for station, building in yard.stations:
        if station.method != "leg":
            continue
        facility = np.full(len(walked), names.index(building.name))
        flies = counts_on_legs(rng, activity, facility, np.array([_index(day) for day in walked]))
        for day, animals in zip(walked, flies.astype(int).tolist(), strict=True):
            cells.append(Cell(station.id, station.label, None, day, count=sum(animals), animals=tuple(animals)))
    return cells
