"""Readings a second sent over HTTP, as a file and as JSON, against COPY of the same rows and two usual ways of Django.

What is measured is the service itself: a gunicorn process that logs in as the app's role, asked with a farm's token,
through all middleware, with row security, chain and weekly summary on; the time is the client's, from the first byte
sent to the last byte of the answer, which says of each row what became of it. COPY puts the same rounds, placements and
readings, as text made beforehand, into the same tables with the same keys and indexes, by a role that row security lets
through; it makes no check, no chain and no weekly summary. It is timed in the order of the file, as the rows come, and
(told apart) already sorted by station, which a file's import does for itself. bulk_create makes rows, chain and summary
under row security, of values that are checked and typed already. The list serializer is Django REST Framework's own
(`many=True`), which checks and creates row by row, without chain or summary; being slow it gets the first rows only,
and seconds a row are compared. Runs are interleaved, each on a farm of its own, and the median ratio is told.
"""

import json
import statistics
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any
from uuid import UUID

import httpx
import numpy as np
from django.conf import settings
from django.db import connection, transaction
from django.utils import timezone
from rest_framework import serializers

from farms.ids import uuid7
from farms.ledger import Actor, append, lock_heads, next_number, row_hash, row_values
from farms.models import Facility, Farm, Group, Holding, LedgerHead, Membership, Region, Season, User
from farms.models.chain import ActorKind
from farms.services import make_token
from farms.tenancy.acting import act_for_user
from monitoring.csv_import import read_csv
from monitoring.models import Placement, Reading, Round, Station
from monitoring.rules.table import ReadingTable
from monitoring.services import refresh_summaries, table_of_rows
from monitoring.services.ground import ground_of
from monitoring.services.ids import round_id
from monitoring.services.reading import Came, reading_row, reading_values
from monitoring.services.table.batch import Batch, batch_of
from monitoring.services.table.rows import Rows, rows_of
from server import embedded
from server.demo.processes import free_port, running, start_site

RUNS, RUNS_OF_THE_SLOW = 5, 3
ROWS_OF_THE_SERIALIZER = 2_500
STATIONS, ROUNDS = 500, 100
FIRST = date(2024, 1, 1)
NOW = datetime(2026, 6, 1, 12, tzinfo=UTC)
PROGRAM = Actor(ActorKind.PROGRAM, None)
ROUND_COLUMNS = ("farm_id", "id", "walked_on", "source", "actor_kind", "received_at", "entry")
PLACEMENT_COLUMNS = ("farm_id", "placement_id", "station_id", "hung_on", "zone", "entry")


@dataclass(frozen=True)
class Ranch:
    """A farm to fill, and who fills it."""

    farm: Farm
    user_id: UUID
    key: str


@contextmanager
def as_factory() -> Iterator[None]:
    """A role that row security lets through, for one transaction."""
    with transaction.atomic():
        with connection.cursor() as cursor:
            cursor.execute("SET LOCAL ROLE flyround_factory")
        yield


def ranch(cards: int = STATIONS, since: date = FIRST) -> Ranch:
    """A fresh farm with so many cards, in season for years, and a key to it."""
    name = str(uuid7())
    with as_factory():
        group = Group.objects.create(name="Bench", slug=name)
        region = Region.objects.create(group=group, name="Bench", slug="bench")
        holding = Holding.objects.create(group=group, name="Bench")
        user = User.objects.create_user(f"{name}@example.org")
        farm = Farm.objects.create(group=group, region=region, holding=holding, name=name)
        LedgerHead.objects.create(farm=farm, number=0, hash=bytes(32))
        Membership.objects.create(farm=farm, user=user, role="owner", began_at=NOW)
        Season.objects.create(farm=farm, opens_on=since)
        barn = Facility.objects.create(farm=farm, name="Barn", kind="calf_barn")
        Station.objects.bulk_create(
            Station(farm_id=farm.id, facility_id=barn.id, method="card", number=number + 1, since=since)
            for number in range(cards)
        )
    now = timezone.now()
    with transaction.atomic():
        act_for_user(user.id)
        _, key = make_token(
            farm=farm, name="Bench", scope="write", by=user, expires_at=now + timedelta(days=1), now=now
        )
    return Ranch(farm, user.id, key)


def seasons() -> list[tuple[str, str, str, int]]:
    """Invented readings, 50,000 of them, round by round: station, hung on, taken on, specks."""
    rng = np.random.default_rng(20260601)
    counts = rng.poisson(rng.gamma(1.5, 40 / 1.5, (ROUNDS, STATIONS)))
    days = [FIRST + timedelta(days=7 * number) for number in range(ROUNDS + 1)]
    return [
        (f"Card {number + 1}", days[walk].isoformat(), days[walk + 1].isoformat(), int(counts[walk, number]))
        for walk in range(ROUNDS)
        for number in range(STATIONS)
    ]


def csv_body() -> bytes:
    lines = ["station,hung on,taken on,count", *(",".join(map(str, row)) for row in seasons())]
    return "\n".join(lines).encode()


def json_body() -> bytes:
    """What a program sends, each reading with an id of its own."""
    names = ("station", "hung_on", "taken_on", "count")
    return json.dumps(
        {"readings": [{"id": str(uuid7()), **dict(zip(names, row, strict=True))} for row in seasons()]}
    ).encode()


@dataclass(frozen=True)
class Service:
    """The service on a port of this machine."""

    http: httpx.Client

    def by_csv(self, place: Ranch) -> float:
        return self._send(place, "imports", csv_body(), "text/csv")

    def by_json(self, place: Ranch) -> float:
        return self._send(place, "readings/bulk", json_body(), "application/json")

    def _send(self, place: Ranch, noun: str, body: bytes, kind: str) -> float:
        """Seconds from the body to the whole answer."""
        headers = {"Authorization": f"Bearer {place.key}", "Content-Type": kind}
        start = time.perf_counter()
        answer = self.http.post(f"/api/v1/farms/{place.farm.id}/{noun}", content=body, headers=headers)
        taken = time.perf_counter() - start
        told = answer.json()
        assert (told["stored"], len(told["results"])) == (STATIONS * ROUNDS, STATIONS * ROUNDS), answer.text[:500]
        return taken


@contextmanager
def service() -> Iterator[Service]:
    """A gunicorn of one process and four threads, as the demo's, in the app's role."""
    servers = embedded.current()
    assert servers is not None
    port = free_port(0)
    environment = {
        "DATABASE_URL": servers.database_url("app"), "DJANGO_SETTINGS_MODULE": "server.settings",
        "PYTHONPATH": str(settings.BASE_DIR), "LOG_LEVEL": "WARNING",
    }  # fmt: skip
    with tempfile.TemporaryDirectory() as folder, running(Path(folder), environment) as processes:
        start_site(processes, port)
        with httpx.Client(base_url=f"http://127.0.0.1:{port}", timeout=120) as http:
            yield Service(http)


def made_rows(place: Ranch, table: ReadingTable) -> tuple[Batch, Rows]:
    """The rows that a table would store on this farm, not stored."""
    with transaction.atomic():
        act_for_user(place.user_id)
        batch = batch_of(table, ground_of(place.farm, NOW))
        rows = rows_of(batch, Came(place.farm, 1, NOW), PROGRAM, source="file", placements=set())
    return batch, rows


def csv_table() -> ReadingTable:
    return read_csv(csv_body())


def json_table() -> ReadingTable:
    return table_of_rows(json.loads(json_body())["readings"])


def copied(table: Callable[[], ReadingTable], *, sort: bool = False) -> Callable[[Ranch], float]:
    """A way that COPYs the rows of a table, in the order sent or sorted by station; its text is made beforehand."""
    return lambda place: by_copy(made_rows(place, table())[1], sort=sort)


def by_copy(rows: Rows, *, sort: bool) -> float:
    order = range(rows.number)
    if not sort:
        taken = list(rows.copied["taken_on"])
        order = sorted(order, key=lambda place: taken[place])
    reading_columns = tuple(rows.copied)
    texts = [
        ("monitoring_round", ROUND_COLUMNS, _round_text(rows)),
        ("monitoring_placement", ("farm_id", "id", *PLACEMENT_COLUMNS[2:]), _text(rows, PLACEMENT_COLUMNS, order)),
        ("monitoring_reading", reading_columns, _text(rows, reading_columns, order)),
    ]
    start = time.perf_counter()
    with as_factory(), connection.cursor() as cursor:
        for table, columns, text in texts:
            with cursor.copy(f"COPY {table} ({', '.join(columns)}) FROM STDIN") as copy:
                copy.write(text)
    return time.perf_counter() - start


def _round_text(rows: Rows) -> bytes:
    lines = ("\t".join(str(getattr(each, name)) for name in ROUND_COLUMNS) for each in rows.rounds)
    return ("\n".join(lines) + "\n").encode()


def _text(rows: Rows, names: tuple[str, ...], order: Any) -> bytes:
    columns = [[form] * rows.number if isinstance(form, str) else form for form in map(rows.copied.get, names)]
    lines = list(map("\t".join, zip(*columns, strict=True)))
    return ("\n".join(lines[place] for place in order) + "\n").encode()


def by_bulk_create(place: Ranch) -> float:
    """Seconds for the same rows through Django's bulk_create, chain and summary by the same functions, row by row."""
    batch, rows = made_rows(place, csv_table())
    start = time.perf_counter()
    with transaction.atomic():
        act_for_user(place.user_id)
        head = lock_heads([place.farm.id])[place.farm.id]
        came = Came(place.farm, next_number(head), NOW)
        readings = [_reading(batch, came, at) for at in range(len(batch.good))]
        placements = [
            Placement(
                farm_id=each.farm_id, id=each.placement_id, station_id=each.station_id, hung_on=each.hung_on,
                zone=each.zone, entry=each.entry,
            )
            for each in readings
        ]  # fmt: skip
        for model, made in ((Round, rows.rounds), (Placement, placements), (Reading, readings)):
            model.objects.bulk_create(made, batch_size=1000)
        hashes = [
            row_hash(each._meta.db_table, row_values(each))
            for made in (rows.rounds, placements, readings)
            for each in made
        ]
        append(head, kind="import", actor=PROGRAM, row_hashes=hashes, now=NOW)
        refresh_summaries(farm_ids=[place.farm.id], weeks=rows.weeks)
    return time.perf_counter() - start


def _reading(batch: Batch, came: Came, at: int) -> Reading:
    columns = batch.columns
    values = reading_values(batch.table, at, batch.ground.stations[batch.at[at]], came.farm)
    where = {
        "id": UUID(batch.reading_ids[at]), "placement_id": UUID(batch.placement_ids[at]),
        "hung_on": columns.hung_on[at],
        "round_id": round_id(came.farm.id, columns.taken_on[at]),
    }  # fmt: skip
    return reading_row(came, values | where)


class RowSerializer(serializers.ModelSerializer[Reading]):
    """A reading as one writes it with Django REST Framework and nothing else."""

    station = serializers.CharField(write_only=True)

    class Meta:
        model = Reading
        fields = ["id", "station", "hung_on", "taken_on", "count"]
        extra_kwargs = {"id": {"read_only": False}}

    def validate_station(self, label: str) -> Station:
        method, number = label.split()
        found = Station.objects.filter(farm=self.context["farm"], method=method.lower(), number=int(number)).first()
        if found is None:
            raise serializers.ValidationError("This farm has no such station.")
        return found

    def create(self, validated_data: dict[str, Any]) -> Reading:
        farm, station = self.context["farm"], validated_data.pop("station")
        day, hung_on = validated_data["taken_on"], validated_data["hung_on"]
        of_all = {"farm_id": farm.id, "entry": 1}
        walk, _ = Round.objects.get_or_create(
            farm_id=farm.id, id=round_id(farm.id, day),
            defaults={"walked_on": day, "source": "program", "actor_kind": "program", "received_at": NOW, "entry": 1},
        )  # fmt: skip
        hung = Placement.objects.create(**of_all, station_id=station.id, hung_on=hung_on, zone=farm.time_zone)
        return Reading.objects.create(
            **of_all, **validated_data, round_id=walk.id, station_id=station.id, placement_id=hung.id,
            method=station.method, zone=farm.time_zone, received_at=NOW,
        )  # fmt: skip


def by_list_serializer(place: Ranch) -> float:
    """Seconds for the first rows through a list serializer, in one transaction."""
    rows = json.loads(json_body())["readings"][:ROWS_OF_THE_SERIALIZER]
    start = time.perf_counter()
    with transaction.atomic():
        act_for_user(place.user_id)
        serializer = RowSerializer(data=rows, many=True, context={"farm": place.farm})
        serializer.is_valid(raise_exception=True)
        serializer.save()
    return time.perf_counter() - start


def figures() -> dict[str, dict[str, Any]]:
    """Name, value, unit and number of runs of every figure; above 1 would be faster than COPY."""
    with service() as site:
        ways: dict[str, Callable[[Ranch], float]] = {
            "copy of csv": copied(csv_table),
            "csv": site.by_csv,
            "sorted copy of csv": copied(csv_table, sort=True),
            "json": site.by_json,
            "copy of json": copied(json_table),
        }
        for way in ways.values():
            way(ranch())
        times = [{name: way(ranch()) for name, way in ways.items()} for _ in range(RUNS)]
        slow_ways = {"bulk_create": by_bulk_create, "list_serializer": by_list_serializer, "json": site.by_json}
        slow = [{name: way(ranch()) for name, way in slow_ways.items()} for _ in range(RUNS_OF_THE_SLOW)]
    # Seconds for as many rows as the others stored.
    for run in slow:
        run["list_serializer"] *= STATIONS * ROUNDS / ROWS_OF_THE_SERIALIZER
    return {
        "ingest.csv_vs_copy": _ratio(times, "copy of csv", "csv"),
        "ingest.json_vs_copy": _ratio(times, "copy of json", "json"),
        "ingest.csv_vs_sorted_copy": _ratio(times, "sorted copy of csv", "csv"),
        "ingest.bulk_vs_bulk_create": _ratio(slow, "bulk_create", "json"),
        "ingest.vs_list_serializer": _ratio(slow, "list_serializer", "json"),
        "ingest.readings_a_second": {
            "value": round(STATIONS * ROUNDS / statistics.median(run["json"] for run in times)),
            "unit": "readings a second",
            "runs": RUNS,
        },
    }


def _ratio(runs: list[dict[str, float]], slow: str, fast: str) -> dict[str, Any]:
    """How many times as fast as `slow` was `fast`, in the median of the runs."""
    value = statistics.median(run[slow] / run[fast] for run in runs)
    return {"value": round(value, 3), "unit": "times as fast", "runs": len(runs)}
