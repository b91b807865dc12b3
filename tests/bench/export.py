"""How much memory a real web server needs while a farm's readings leave it, and how many rows a second leave.

A gunicorn worker of its own answers; the peak is what its resident memory grew by at most while one answer was read
(VmHWM less VmRSS before, Linux), in the larger of the two formats that are streamed. For a million rows and for a
tenth of them: constant memory means that the two are alike.
"""

import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

import httpx
from django.db import connection

from farms.models import Farm
from server.demo.processes import free_port, running, start_site
from tests.bench.ingest import STATIONS, Ranch, as_factory, ranch

MILLION, TENTH = 1_000_000, 100_000
STREAMED, PARQUET = ("readings.ndjson", "readings.csv"), ("readings.parquet",)
FIRST = date(1990, 1, 1)
# In one statement, so that no readings that are there already have to be looked for.
FILL = """
WITH walked AS (
    INSERT INTO monitoring_round (farm_id, id, walked_on, source, actor_kind, received_at, entry)
    SELECT %(farm)s, uuidv7(), %(first)s::date + 7 * n, 'program', 'program', now(), 1
    FROM generate_series(1, %(rounds)s) n
    RETURNING farm_id, id, walked_on)
INSERT INTO monitoring_reading (farm_id, id, round_id, station_id, method, how, count, fraction, at_least, reason,
    hung_on, taken_on, zone, sides, pen, weather, correction_kind, received_at, entry)
SELECT w.farm_id, uuidv7(), w.id, s.id, s.method, 'counted', mod(7 * s.number, 200), 1, false, '',
    w.walked_on - 7, w.walked_on, 'America/Chicago', 1, '', '', '', now(), 1
FROM walked w JOIN monitoring_station s USING (farm_id) WHERE s.farm_id = %(farm)s
"""


@dataclass(frozen=True)
class Site:
    """A running web server: its address, and the process that answers."""

    address: str
    worker: int


@dataclass(frozen=True)
class Taken:
    """One answer as it was read: its rows (lines), its bytes, the seconds, the growth of the server's memory."""

    rows: int
    size: int
    seconds: float
    growth_mb: float


def fill(farm: Farm, rows: int) -> None:
    """So many more invented readings of a farm's stations, past row security."""
    with as_factory(), connection.cursor() as cursor:
        cursor.execute("SELECT count(*) FROM monitoring_station WHERE farm_id = %s", [farm.id])
        stations = cursor.fetchone()[0]
        cursor.execute(FILL, {"farm": farm.id, "first": FIRST, "rounds": rows // stations})
        assert cursor.rowcount == rows


def full_ranch(rows: int) -> Ranch:
    """A farm of 500 cards with so many readings."""
    place = ranch()
    assert rows % STATIONS == 0
    fill(place.farm, rows)
    return place


@contextmanager
def site() -> Iterator[Site]:
    """A web server on the servers that the environment names; it ends with the block."""
    root = Path(__file__).resolve().parents[2]
    environment = {"DJANGO_SETTINGS_MODULE": "server.settings", "PYTHONPATH": str(root), "LOG_LEVEL": "WARNING"}
    port = free_port(0)
    with tempfile.TemporaryDirectory() as logs, running(Path(logs), environment) as processes:
        start_site(processes, port)
        [master] = processes.started
        children = Path(f"/proc/{master.pid}/task/{master.pid}/children").read_text().split()
        yield Site(f"http://127.0.0.1:{port}", int(children[0]))


def take(at: Site, farm: Farm, key: str, file: str) -> Taken:
    """Read an export to its end, as a client that keeps nothing of it."""
    before = memory_mb(at.worker, "VmRSS")
    # Begin a new peak (proc(5)).
    Path(f"/proc/{at.worker}/clear_refs").write_text("5")
    address = f"{at.address}/api/v1/farms/{farm.id}/exports/{file}"
    start, lines, size = time.perf_counter(), 0, 0
    with httpx.stream("GET", address, headers={"Authorization": f"Bearer {key}"}, timeout=600) as answer:
        answer.raise_for_status()
        for piece in answer.iter_raw():
            lines += piece.count(b"\n")
            size += len(piece)
    seconds = time.perf_counter() - start
    return Taken(lines, size, seconds, memory_mb(at.worker, "VmHWM") - before)


def memory_mb(process: int, name: str) -> float:
    lines = Path(f"/proc/{process}/status").read_text().splitlines()
    return int(next(line for line in lines if line.startswith(f"{name}:")).split()[1]) / 1024


def measured(rows: int, files: tuple[str, ...]) -> dict[str, Taken]:
    """Each file of a farm with so many readings, by a server that has told the farm's name and nothing else before.

    A server that has exported before would hide in what it kept of that what the next export needs.
    """
    place = full_ranch(rows)
    found = {}
    for file in files:
        with site() as at:
            first = httpx.get(
                f"{at.address}/api/v1/farms/{place.farm.id}",
                headers={"Authorization": f"Bearer {place.key}"},
                timeout=60,
            )
            assert first.status_code == 200
            found[file] = take(at, place.farm, place.key, file)
    return found


def figures() -> dict[str, dict[str, Any]]:
    """Name, value, unit and number of runs of every figure."""
    tenth, million = measured(TENTH, STREAMED), measured(MILLION, STREAMED)
    tenth_of_parquet, parquet = measured(TENTH, PARQUET), measured(MILLION, PARQUET)
    sheet = measured(TENTH, ("readings.xlsx",))
    assert all(taken.rows >= MILLION for taken in million.values())
    found = {
        "export.peak_mb": _figure(_peak(million), "MB for 1,000,000 rows"),
        "export.peak_mb_of_a_tenth": _figure(_peak(tenth), "MB for 100,000 rows"),
        "export.parquet_peak_mb": _figure(_peak(parquet), "MB for 1,000,000 rows"),
        "export.parquet_peak_mb_of_a_tenth": _figure(_peak(tenth_of_parquet), "MB for 100,000 rows"),
        "export.xlsx_peak_mb": _figure(_peak(sheet), "MB for 100,000 rows"),
    }
    for rows, taken in ((MILLION, million | parquet), (TENTH, sheet)):
        for file, one in taken.items():
            found[f"export.{file.partition('.')[2]}_rows_a_second"] = _figure(rows / one.seconds, "rows a second")
    return found


def _peak(taken: dict[str, Taken]) -> float:
    return max(one.growth_mb for one in taken.values())


def _figure(value: float, unit: str) -> dict[str, Any]:
    return {"value": round(value, 2), "unit": unit, "runs": 1}
