"""Readings a second through the CSV import and the bulk API, against COPY of the same rows and against bulk_create.

COPY puts the same rounds, placements and readings, as text made beforehand, into the same tables with the same keys and
indexes, by a role that row security lets through; it makes no check, no chain and no weekly summary. It is timed in the
order of the file, as the rows come, and (told apart) already sorted by station, which the import does for itself.
bulk_create makes rows, chain and summary under row security, of values that are checked and typed already. Runs are
interleaved, each on a farm of its own, and the median ratio is told.
"""

import json
import statistics
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import Any
from uuid import UUID

import numpy as np
from django.db import connection, transaction

from farms.ids import uuid7
from farms.ledger import Actor, append, lock_heads, next_number, row_hash, row_values
from farms.models import Facility, Farm, Group, Holding, LedgerHead, Membership, Region, Season, User
from farms.models.chain import ActorKind
from farms.tenancy.acting import act_for_user
from monitoring.csv_import import read_csv
from monitoring.models import Placement, Reading, Round, Station
from monitoring.rules.table import ReadingTable
from monitoring.services import ImportPlan, record_table, refresh_summaries, table_of_rows
from monitoring.services.ground import ground_of
from monitoring.services.ids import round_id
from monitoring.services.reading import Came, reading_row, reading_values
from monitoring.services.table.batch import Batch, batch_of
from monitoring.services.table.rows import Rows, rows_of

RUNS, RUNS_OF_BULK_CREATE = 7, 3
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


@contextmanager
def as_factory() -> Iterator[None]:
    """A role that row security lets through, for one transaction."""
    with transaction.atomic():
        with connection.cursor() as cursor:
            cursor.execute("SET LOCAL ROLE flyround_factory")
        yield


def ranch() -> Ranch:
    """A fresh farm with 500 cards, in season for years."""
    name = str(uuid7())
    with as_factory():
        group = Group.objects.create(name="Bench", slug=name)
        region = Region.objects.create(group=group, name="Bench", slug="bench")
        holding = Holding.objects.create(group=group, name="Bench")
        user = User.objects.create_user(f"{name}@example.org")
        farm = Farm.objects.create(group=group, region=region, holding=holding, name=name)
        LedgerHead.objects.create(farm=farm, number=0, hash=bytes(32))
        Membership.objects.create(farm=farm, user=user, role="owner", began_at=NOW)
        Season.objects.create(farm=farm, opens_on=FIRST)
        barn = Facility.objects.create(farm=farm, name="Barn", kind="calf_barn")
        Station.objects.bulk_create(
            Station(farm_id=farm.id, facility_id=barn.id, method="card", number=number + 1, since=FIRST)
            for number in range(STATIONS)
        )
    return Ranch(farm, user.id)


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


def take(place: Ranch, table: Callable[[], ReadingTable]) -> float:
    """Seconds from the body to the commit, as the API goes: read, check, store, chain, sum up."""
    start = time.perf_counter()
    with transaction.atomic():
        act_for_user(place.user_id)
        result = record_table(farm=place.farm, table=table(), plan=ImportPlan(), actor=PROGRAM, now=NOW)
    taken = time.perf_counter() - start
    assert result.stored == STATIONS * ROUNDS, result
    return taken


def by_csv(place: Ranch) -> float:
    body = csv_body()
    return take(place, lambda: read_csv(body))


def by_json(place: Ranch) -> float:
    body = json_body()
    return take(place, lambda: table_of_rows(json.loads(body)["readings"]))


def made_rows(place: Ranch) -> tuple[Batch, Rows]:
    """The rows that the import would store on this farm, not stored."""
    with transaction.atomic():
        act_for_user(place.user_id)
        batch = batch_of(read_csv(csv_body()), ground_of(place.farm, NOW))
        rows = rows_of(batch, Came(place.farm, 1, NOW), PROGRAM, source="file", placements=set())
    return batch, rows


def by_copy(place: Ranch, *, in_order_of_the_file: bool) -> float:
    """Seconds for COPY of the same rows, its text made beforehand."""
    _, rows = made_rows(place)
    order = range(rows.number)
    if in_order_of_the_file:
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
    batch, rows = made_rows(place)
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


def figures() -> dict[str, dict[str, Any]]:
    """Name, value, unit and number of runs of every figure; above 1 would be faster than COPY."""
    ways: dict[str, Callable[[Ranch], float]] = {
        "copy": lambda place: by_copy(place, in_order_of_the_file=True),
        "csv": by_csv,
        "sorted": lambda place: by_copy(place, in_order_of_the_file=False),
        "json": by_json,
    }
    for way in ways.values():
        way(ranch())
    times = [{name: way(ranch()) for name, way in ways.items()} for _ in range(RUNS)]
    slow = [{"bulk_create": by_bulk_create(ranch()), "json": by_json(ranch())} for _ in range(RUNS_OF_BULK_CREATE)]
    return {
        "ingest.csv_vs_copy": _ratio(times, "copy", "csv"),
        "ingest.json_vs_copy": _ratio(times, "copy", "json"),
        "ingest.csv_vs_sorted_copy": _ratio(times, "sorted", "csv"),
        "ingest.json_vs_sorted_copy": _ratio(times, "sorted", "json"),
        "ingest.bulk_vs_bulk_create": _ratio(slow, "bulk_create", "json"),
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
