"""Large exports: the same memory however many rows, and a connection that breaks where the reading of them breaks."""

import socket
import tempfile
import tracemalloc
from collections.abc import Iterator
from typing import Any

import httpx
import pytest
from django.db import connection, transaction

from farms.models import Farm, User
from farms.tenancy.acting import act_for_user
from monitoring.models import Reading, Station
from server.exports.columnar import write_parquet
from server.exports.sheet import write_sheet
from server.exports.streams import csv_of, later, ndjson_of
from server.exports.tables import READINGS
from tests.bench import export
from tests.cast import as_factory
from tests.patience import wait_until
from tests.server.api.senders import token_of

# Coverage is not counted here: its tracer would take most of the time, and of the memory that is measured.
pytestmark = pytest.mark.no_cover
MEGABYTE = 1024 * 1024
# Of a reader with so little room the server soon waits, long before the file's end.
LITTLE_ROOM = [(socket.SOL_SOCKET, socket.SO_RCVBUF, 64 * 1024)]


def peak_mb(anna: User, farm: Farm, form: str) -> float:
    """How much Python holds at most while the farm's readings are written in a format."""
    tracemalloc.start()
    try:
        if form in ("csv", "ndjson"):
            stream = {"csv": csv_of, "ndjson": ndjson_of}[form]
            for _piece in later(anna, farm.id, lambda: stream(READINGS, READINGS.rows(farm, {}))):
                pass
        else:
            _write(anna, farm, form)
        return tracemalloc.get_traced_memory()[1] / MEGABYTE
    finally:
        tracemalloc.stop()


def _write(anna: User, farm: Farm, form: str) -> None:
    with tempfile.TemporaryFile() as file, transaction.atomic():
        act_for_user(anna.id)
        {"xlsx": write_sheet, "parquet": write_parquet}[form](READINGS, READINGS.rows(farm, {}), file)


@pytest.mark.django_db
@pytest.mark.parametrize(("form", "most"), [("csv", 1), ("ndjson", 1), ("xlsx", 8), ("parquet", 25)])
def test_more_rows_need_no_more_memory(anna: User, northfield: Farm, cards: list[Station], form: str, most: float):
    few, many = (2_000, 4_000) if form == "xlsx" else (16_000, 32_000) if form == "parquet" else (2_000, 20_000)
    _fill(northfield, few)
    peak_mb(anna, northfield, form)
    small = peak_mb(anna, northfield, form)
    _fill(northfield, many - few)
    large = peak_mb(anna, northfield, form)
    with as_factory():
        assert Reading.objects.filter(farm=northfield).count() == many
    assert large < most, (small, large)
    assert large < small * 1.1 + 0.2, (small, large)


def _fill(farm: Farm, rows: int) -> None:
    """So many more readings at the farm's five cards."""
    with as_factory(), connection.cursor() as cursor:
        for table in ("siting", "station"):
            column = "station_id" if table == "siting" else "id"
            cursor.execute(
                f"DELETE FROM monitoring_{table} WHERE farm_id = %s AND {column} IN"
                " (SELECT id FROM monitoring_station WHERE farm_id = %s AND method <> 'card')",
                [farm.id, farm.id],
            )
    export.fill(farm, rows)


@pytest.fixture
def served(northfield: Farm) -> Iterator[export.Site]:
    with export.site() as at:
        yield at


@pytest.mark.django_db(transaction=True, databases="__all__")
def test_where_the_reading_breaks_in_the_middle_the_client_is_not_told_that_all_is_well(
    northfield: Farm, anna: User, cards: list[Station], served: export.Site
):
    _fill(northfield, 60_000)
    key = token_of(northfield, anna, "read").key
    for file in ("readings.csv", "readings.ndjson"):
        address = f"{served.address}/api/v1/farms/{northfield.id}/exports/{file}"
        reader = httpx.Client(transport=httpx.HTTPTransport(socket_options=LITTLE_ROOM), timeout=60)
        with reader, reader.stream("GET", address, headers={"Authorization": f"Bearer {key}"}) as answer:
            assert (answer.status_code, answer.headers["Transfer-Encoding"]) == (200, "chunked")
            pieces = answer.iter_raw()
            assert next(pieces)
            # The first piece may be the line of names, sent before the copying began.
            assert wait_until(_end_copies, "a copy is under way", seconds=10) == 1
            with pytest.raises(httpx.RemoteProtocolError):
                _read_all(pieces)
        # The server goes on: the same file, whole.
        whole = httpx.get(address, headers={"Authorization": f"Bearer {key}"}, timeout=60)
        assert whole.text.count("\n") == 60_000 + (file == "readings.csv")


def _read_all(pieces: Iterator[bytes]) -> int:
    return sum(map(len, pieces))


def _end_copies() -> int:
    """End the database's side of what is being copied out, as a crash of it would."""
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("SET LOCAL ROLE NONE")
        cursor.execute(
            "SELECT pg_terminate_backend(pid) FROM pg_stat_activity"
            " WHERE query LIKE 'COPY (SELECT%%' AND state = 'active' AND datname = current_database()"
            " AND pid <> pg_backend_pid()",
            [],
        )
        return len(cursor.fetchall())


@pytest.mark.full
@pytest.mark.django_db(transaction=True, databases="__all__")
def test_a_million_rows_leave_in_the_memory_of_a_hundred_thousand(db: Any):
    tenth = export.measured(export.TENTH, export.STREAMED)
    million = export.measured(export.MILLION, export.STREAMED)
    for file in export.STREAMED:
        assert million[file].rows >= export.MILLION
        assert million[file].growth_mb < max(tenth[file].growth_mb + 8, 32), (tenth, million)
