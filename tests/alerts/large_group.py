"""A made-up group of many farms of as many holdings, counted for weeks: what a group's figures are fitted on."""

from collections.abc import Sequence
from datetime import UTC, date, datetime, time, timedelta
from typing import Any

import numpy as np

from farms.models import Facility, Farm, Holding, LedgerHead, Region, Season
from monitoring.analysis.simulated_farms import Network, simulate_farms
from monitoring.methods import METHODS
from monitoring.models import Placement, Reading, Round, Siting, Station
from tests.alerts.scene import monday
from tests.cast import as_factory

# The twelve weeks before the quarter from July 1, 2026: those of April 13 to June 29; the next is its first.
BEFORE = [monday(number) for number in range(1, 13)]
FIRST_OF_QUARTER = monday(13)
NETWORK = Network(stations=5, shock=0.3, k=1.5, level=60.0)
LEG_K, LEG_MEAN, ANIMALS = 2.5, 8.0, 12


def make_group_of(region: Region, farms: int, *, holdings: int | None = None) -> list[Farm]:
    """Farms of as many holdings unless fewer are named; the first ones share them then."""
    group = region.group
    with as_factory():
        owned = Holding.objects.bulk_create(
            Holding(group=group, name=f"Holding {number}") for number in range(holdings or farms)
        )
        made = Farm.objects.bulk_create(
            Farm(
                group=group, region=region, holding=owned[number % len(owned)], name=f"Farm {number}",
                time_zone="America/Chicago",
            )
            for number in range(farms)
        )  # fmt: skip
        LedgerHead.objects.bulk_create(LedgerHead(farm=farm, number=0, hash=bytes(32)) for farm in made)
        Season.objects.bulk_create(Season(farm=farm, opens_on=monday(0)) for farm in made)
        Facility.objects.bulk_create(
            Facility(farm=farm, name="Calf barn", kind="calf_barn", position=1) for farm in made
        )
    return made


def make_places(farms: Sequence[Farm], method: str, number: int) -> list[list[Station]]:
    """As many stations of a method on each farm, in use since the season opened."""
    with as_factory():
        barns = dict(Facility.objects.filter(farm__in=farms).values_list("farm_id", "id"))
        made = [
            [
                Station(
                    farm=farm, facility_id=barns[farm.id], method=method, number=each, position=each, since=monday(0)
                )
                for each in range(1, number + 1)
            ]
            for farm in farms
        ]
        every = [station for stations in made for station in stations]
        Station.objects.bulk_create(every)
        Siting.objects.bulk_create(Siting(farm_id=one.farm_id, station_id=one.id, since=monday(0)) for one in every)
    return made


def count_weeks(places: Sequence[Sequence[Station]], weeks: Sequence[date], counts: Any) -> list[Reading]:
    """Read every place in these weeks; counts[farm][place][week] is a number, NaN for lost, or flies by animal."""
    readings: list[Reading] = []
    rounds, hung = [], []
    for own, seen in zip(places, counts, strict=True):
        hangs, farm_id = METHODS[own[0].method].hangs, own[0].farm_id
        for number, week in enumerate(weeks):
            day = week + timedelta(days=7 if hangs else 2)
            received = datetime.combine(day, time(12), UTC)
            walk = Round(
                farm_id=farm_id, walked_on=day, source="form", actor_kind="farm_staff", received_at=received, entry=0
            )
            rounds.append(walk)
            for station, row in zip(own, seen, strict=True):
                placed = Placement(farm_id=farm_id, station_id=station.id, hung_on=week, zone="UTC", entry=0)
                hung += [placed] if hangs else []
                readings.append(
                    Reading(
                        farm_id=farm_id, round_id=walk.id, station_id=station.id, method=station.method, zone="UTC",
                        placement_id=placed.id if hangs else None, hung_on=week if hangs else None, taken_on=day,
                        received_at=received, entry=0, **_seen(row[number]),
                    )
                )  # fmt: skip
    with as_factory():
        Round.objects.bulk_create(rounds)
        Placement.objects.bulk_create(hung)
        Reading.objects.bulk_create(readings)
    return readings


def _seen(found: Any) -> dict[str, Any]:
    if isinstance(found, np.ndarray):
        animals = [int(each) for each in found]
        return {"count": sum(animals), "animals": animals}
    return {"reason": "lost"} if np.isnan(found) else {"count": int(found), "fraction": 1}


def count_cards(farms: Sequence[Farm], weeks: Sequence[date] = BEFORE, *, seed: int = 1) -> list[list[Station]]:
    """Five cards on each farm, read in these weeks as level farms of a known network are."""
    cards = make_places(farms, "card", NETWORK.stations)
    drawn = simulate_farms(np.random.default_rng(seed), NETWORK, len(farms), len(weeks), np.zeros(len(weeks)))
    count_weeks(cards, weeks, drawn.counts)
    return cards


def count_legs(farms: Sequence[Farm], weeks: Sequence[date] = BEFORE, *, seed: int = 2) -> list[list[Station]]:
    """A leg count of twelve animals on each farm in each of these weeks, of a known k."""
    rng, legs = np.random.default_rng(seed), make_places(farms, "leg", 1)
    mean = LEG_MEAN * np.exp(0.3 * rng.standard_normal((len(farms), 1, len(weeks), 1)))
    flies = rng.poisson(rng.gamma(LEG_K, mean / LEG_K, (len(farms), 1, len(weeks), ANIMALS)))
    count_weeks(legs, weeks, flies)
    return legs
