"""Seasons in a few lines: weeks of counts put in as the factory, and the check run on them as the worker."""

from collections.abc import Mapping, Sequence
from datetime import UTC, date, datetime, time, timedelta
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

from alerts.checks.claims import claim, finish
from alerts.checks.group_week import run_group_week
from alerts.models import Alert, AlertEvent, Assessment, CheckRun
from farms.models import Farm, Group
from monitoring.methods import METHODS
from monitoring.models import Placement, Reading, Round, Station, WeeklySummary
from tests.cast import as_factory, as_role

FIRST = date(2026, 4, 6)  # a Monday; Northfield's season opens
COUNT = int | None | str | Sequence[int]  # a count, nothing, the reason why there is none, or flies animal by animal


def monday(number: int) -> date:
    """The Monday of the season's week `number`, from 0."""
    return FIRST + timedelta(weeks=number)


def check_time(week: date) -> datetime:
    """Half past five in Chicago on the Monday after a week, in UTC."""
    return datetime.combine(week + timedelta(days=7), time(5, 30), ZoneInfo("America/Chicago")).astimezone(UTC)


def count_week(
    stations: Sequence[Station], week: date, counts: Sequence[COUNT], *, received: datetime | None = None, **fields: Any
) -> list[Reading]:
    """One round: what was hung on a week's Monday is read seven days later, legs are counted on the Wednesday."""
    hangs = METHODS[stations[0].method].hangs
    day = week + timedelta(days=7 if hangs else 2)
    received = received or datetime.combine(day, time(12), UTC)
    farm_id = stations[0].farm_id
    with as_factory():
        walk = Round.objects.create(
            farm_id=farm_id, walked_on=day, source="form", actor_kind="farm_staff", received_at=received, entry=0
        )
        made = [
            Reading.objects.create(
                farm_id=farm_id, round_id=walk.id, station_id=station.id, method=station.method, zone="America/Chicago",
                placement_id=_hang(station, week) if hangs else None, hung_on=week if hangs else None, taken_on=day,
                received_at=received, entry=0, **_seen(count), **fields,
            )
            for station, count in zip(stations, counts, strict=True)
            if count is not None
        ]  # fmt: skip
        _summarise(farm_id, stations[0].method, week, received)
    return made


def correct(reading: Reading, count: COUNT, *, received: datetime) -> Reading:
    """A correction that replaces a reading."""
    with as_factory():
        same = ("round_id", "station_id", "placement_id", "method", "zone", "hung_on", "taken_on")
        columns = {name: getattr(reading, name) for name in same}
        fixed = Reading.objects.create(
            farm_id=reading.farm_id, corrects_id=reading.id, correction_kind="miscounted", received_at=received,
            entry=0, **columns, **_seen(count),
        )  # fmt: skip
        day = reading.hung_on or reading.taken_on
        _summarise(reading.farm_id, reading.method, day - timedelta(days=day.weekday()), received)
    return fixed


def _hang(station: Station, week: date) -> Any:
    placement = Placement.objects.create(
        farm_id=station.farm_id, station_id=station.id, hung_on=week, zone="America/Chicago", entry=0
    )
    return placement.id


def _seen(count: COUNT) -> Mapping[str, Any]:
    if isinstance(count, str):
        return {"reason": count}
    if isinstance(count, Sequence):
        return {"count": sum(count), "animals": list(count)}
    return {"count": count, "fraction": Decimal(1)}


def _summarise(farm_id: Any, method: str, week: date, received: datetime) -> None:
    """What the services would note of the week; its figures are not looked at here."""
    WeeklySummary.objects.get_or_create(
        farm_id=farm_id, method=method, week=week,
        defaults={
            "stations": 0, "devices": 0, "missing": 0, "days": 0, "animals": 0, "at_least": False,
            "last_received_at": received,
        },
    )  # fmt: skip
    WeeklySummary.objects.filter(farm_id=farm_id, method=method, week=week).update(last_received_at=received)


def check(group: Group, week: date, *, now: datetime | None = None) -> CheckRun:
    """Judge one week as the worker, on the Monday after it unless another moment is given."""
    now = now or check_time(week)
    with as_role("worker"):
        run = claim(group.id, week, now)
        assert run is not None
        run_group_week(run=run, now=now)
        assert finish(run, now=now)
    return run


def result(
    farm: Farm, week: date, method: str = "card", facility: Any = None, revision: int | None = None
) -> Assessment:
    """The latest revision, or the one asked for."""
    with as_factory():
        rows = Assessment.objects.filter(farm=farm, week=week, method=method, facility_id=facility and facility.id)
        found = (rows.filter(revision=revision) if revision else rows).order_by("revision").last()
    assert found is not None
    return found


def alerts(farm: Farm, *, rule: str | None = None, still_open: bool | None = None) -> list[Alert]:
    with as_factory():
        rows = Alert.objects.filter(farm=farm).order_by("opened_at", "id")
        rows = rows.filter(rule=rule) if rule else rows
        return list(rows if still_open is None else rows.filter(closed_at__isnull=still_open))


def events(alert: Alert) -> list[tuple[str, date]]:
    with as_factory():
        rows = AlertEvent.objects.filter(farm_id=alert.farm_id, alert_id=alert.id).order_by("at", "id")
        return [(row.kind, row.week) for row in rows]
