"""A farm of five seasons and forty places, stored as the check stores it: what a farm's page is weighed with."""

from collections.abc import Sequence
from datetime import date, timedelta
from typing import Any
from uuid import UUID

from alerts.models import Assessment
from farms.models import Season
from monitoring.models import Placement, Reading, Round, Station, Work
from tests.cast import NOW, as_factory, make_stations

WEEKS = 26
NEWEST = date(2026, 5, 25)  # the Monday of the last week that was judged


def mondays(seasons: int) -> list[list[date]]:
    """The weeks of each season up to the newest, oldest season first."""
    of_one = [NEWEST - timedelta(weeks=back) for back in range(WEEKS - 1, -1, -1)]
    return [[day - timedelta(weeks=52 * back) for day in of_one] for back in range(seasons - 1, -1, -1)]


def outlook(mean: float) -> dict[str, Any]:
    ahead = [
        {"weeks": weeks, "median": mean + weeks, "low": mean * 0.6, "high": mean * 1.9, "over": 0.4}
        for weeks in (1, 2, 3)
    ]
    return {"ahead": ahead, "crossing": {"word": "not_in_sight"}}


def assessment(farm: Any, week: date, mean: float | None, **fields: Any) -> Assessment:
    """One week of the whole farm's cards."""
    ends = {"low": None, "high": None} if mean is None else {"low": mean * 0.8, "high": mean * 1.25}
    result = "none" if mean is None else "over" if mean > 100 else "near" if mean > 100 * 2 / 3 else "below"
    values: dict[str, Any] = {
        "method": "card", "judged_at": NOW, "level": 100, "result": result, "devices": 0 if mean is None else 5,
        "missing": 1, "code_version": "test", "evidence": {"flags": [], "places": []},
        "weeks_observed": 8, "borrowed": "printed", **ends, **fields,
    }  # fmt: skip
    return Assessment(farm_id=farm.id, week=week, mean=mean, **values)


def judge(farm: Any, weeks: Sequence[date], means: Sequence[float | None], **last: Any) -> None:
    """Store these weeks' results of cards; `last` are fields of the newest."""
    rows = [assessment(farm, week, mean) for week, mean in zip(weeks[:-1], means[:-1], strict=True)]
    with as_factory():
        Assessment.objects.bulk_create([*rows, assessment(farm, weeks[-1], means[-1], **last)])


def long_record(farm: Any, facilities: Sequence[Any], *, seasons: int, stations: int) -> list[Station]:
    """So many seasons of weekly rounds at so many cards, with a result a week and some work, the newest week told."""
    each = stations // len(facilities)
    made = [
        station
        for at, facility in enumerate(facilities)
        for station in make_stations(facility, "card", range(1 + at * each, 1 + (at + 1) * each))
    ]
    for number, weeks in enumerate(mondays(seasons)):
        means = [20.0 + 7 * at + number for at in range(len(weeks))]
        means[4:5] = [None]  # type: ignore[list-item]
        with as_factory():
            Season.objects.filter(farm_id=farm.id).delete()
        judge(farm, weeks, means, outlook=outlook(means[-1]) if weeks[-1] == NEWEST else {})
        _rounds(farm, made, weeks)
    with as_factory():
        Season.objects.bulk_create(
            Season(farm_id=farm.id, opens_on=weeks[0], closes_on=None if weeks[-1] == NEWEST else weeks[-1])
            for weeks in mondays(seasons)
        )
        Work.objects.create(
            farm_id=farm.id, kind="clean_out", done_on=NEWEST - timedelta(weeks=3), thorough=True,
            actor_kind="farm_staff", recorded_at=NOW, entry=0,
        )  # fmt: skip
    return made


def _rounds(farm: Any, stations: Sequence[Station], weeks: Sequence[date]) -> None:
    shared: dict[str, Any] = {"farm_id": farm.id, "entry": 0}
    zone = "America/Chicago"
    with as_factory():
        for at, week in enumerate(weeks):
            day = week + timedelta(days=7)
            walk = Round.objects.create(
                walked_on=day, source="form", actor_kind="farm_staff", received_at=NOW, **shared
            )
            hung = Placement.objects.bulk_create(
                Placement(station_id=each.id, hung_on=week, zone=zone, **shared) for each in stations
            )
            ids: list[UUID] = [each.id for each in hung]
            Reading.objects.bulk_create(
                Reading(
                    round_id=walk.id, station_id=station.id, placement_id=place, method="card", hung_on=week,
                    taken_on=day, zone=zone, received_at=NOW, count=10 + (number * 7 + at * 3) % 90, **shared,
                )
                for number, (station, place) in enumerate(zip(stations, ids, strict=True))
            )  # fmt: skip
