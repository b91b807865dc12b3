"""Rounds that come in between two Mondays, and the look that a worker takes at them."""

from collections.abc import Sequence
from datetime import UTC, date, datetime, time, timedelta

from django.db import connection
from django.test.utils import CaptureQueriesContext

from alerts.delivery.midweek import queue_midweek_mails
from alerts.models import Digest
from farms.models import Farm, Group
from monitoring.models import Placement, Reading, Round, Station
from tests.alerts.scene import COUNT, _seen, _summarise, monday
from tests.cast import as_factory, as_role, make_facility, make_stations

JUDGED, WEEK = monday(7), monday(8)  # of May 25 and of June 1
FRIDAY = WEEK + timedelta(days=4)
HIGH = [200, 220, 190, 230, 210]
SHARP_LEGS = [22, 25, 19, 30, 24, 21, 26, 23, 28, 20]


def noon(day: date, hour: int = 17) -> datetime:
    return datetime.combine(day, time(hour), UTC)


def walk(
    stations: Sequence[Station], day: date, counts: Sequence[COUNT], *, received: datetime | None = None, days: int = 7
) -> list[Reading]:
    """A round within the week: cards that hung so many days are read, legs are looked at. Received at noon that day."""
    received = received or noon(day)
    hung = day - timedelta(days=days) if stations[0].method != "leg" else None
    farm_id, method = stations[0].farm_id, stations[0].method
    middle = day - timedelta(days=days // 2) if hung else day
    with as_factory():
        made = Round.objects.create(
            farm_id=farm_id, walked_on=day, source="phone", actor_kind="farm_staff", received_at=received, entry=0
        )  # fmt: skip
        readings = []
        for station, count in zip(stations, counts, strict=True):
            placed = hung and Placement.objects.create(
                farm_id=farm_id, station_id=station.id, hung_on=hung, zone="America/Chicago", entry=0
            )
            readings.append(
                Reading.objects.create(
                    farm_id=farm_id,
                    round_id=made.id,
                    station_id=station.id,
                    method=method,
                    zone="America/Chicago",
                    placement_id=placed.id if placed else None,
                    hung_on=hung,
                    taken_on=day,
                    received_at=received,
                    entry=0,
                    **_seen(count),
                )
            )
        _summarise(farm_id, method, middle - timedelta(days=middle.weekday()), received)
    return readings


def look(group: Group, now: datetime | None = None) -> list[Digest]:
    """What was written between Mondays by this look and those before."""
    with as_role("worker"):
        queue_midweek_mails(group, now or noon(FRIDAY, 18))
    return written()


def written() -> list[Digest]:
    with as_factory():
        rows = Digest.objects.filter(occasion__endswith="-midweek").select_related("recipient")
        return list(rows.order_by("occasion", "farm__name", "recipient__name"))


def queries_of_a_look(group: Group, now: datetime) -> int:
    with as_role("worker"), CaptureQueriesContext(connection) as asked:
        queue_midweek_mails(group, now)
    return len(asked)


def barn_of(farm: Farm) -> list[Station]:
    return make_stations(make_facility(farm, "Calf barn", "calf_barn"), "card", range(1, 6))
