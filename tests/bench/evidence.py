"""Hashing every chained row of a database again, and holding the chains against signed heads: seconds a row.

A fresh farm gets 50,000 readings with as many placements by the service; a day is signed over it, then all of the
database is checked as `verify_chains` does it, and the farm's evidence is written and checked by the client. A million
readings are told by the seconds a row, since a farm's rows are read one after another. For comparison the same rows are
only read.
"""

import json
import tempfile
import time
from pathlib import Path
from typing import Any

from django.conf import settings
from django.db import connection, transaction

from farms.chained import chained_tables
from farms.tenancy.acting import act_for_user
from monitoring.services import ImportPlan, record_table, table_of_rows
from server.client.evidence import check
from server.evidence.days import do_errands, sign_day
from server.evidence.farm import evidence_of
from server.evidence.keys import make_key
from server.evidence.whole import outside_in, verify_all
from tests.bench.ingest import NOW, PROGRAM, Ranch, as_factory, ranch, seasons

MILLION = 1_000_000
COLUMNS = ("station", "hung_on", "taken_on", "count")


def figures() -> dict[str, dict[str, Any]]:
    """Name, value, unit and number of runs of every figure."""
    with tempfile.TemporaryDirectory() as folder:
        here = _filled(Path(folder))
        with as_factory():
            reading, rows = _seconds_to_read()
            began = time.perf_counter()
            report = verify_all(outside_in(Path(settings.HEADS_DIR)))
            checking = time.perf_counter() - began
        assert report.faults == [] and report.found.not_covered == 0
        written, writing, verifying = _evidence(here)
    readings = len(seasons())
    return {
        "verify.rows_a_second": _figure(report.found.rows / checking, "rows a second"),
        "verify.minutes_1000000": _figure(checking / readings * MILLION / 60, "minutes for 1,000,000 readings"),
        "verify.times_reading": _figure(checking / reading, f"times reading the {rows:,} rows only"),
        "evidence.seconds": _figure(writing, f"s to write {readings:,} readings' evidence"),
        "evidence.bytes_a_reading": _figure(written / readings, "bytes a reading"),
        "evidence.verify_seconds": _figure(verifying, "s for the client to check it"),
    }


def _filled(folder: Path) -> Ranch:
    settings.HEADS_KEY, settings.HEADS_DIR = str(folder / "key.pem"), str(folder / "heads")
    Path(settings.HEADS_DIR).mkdir()
    make_key(Path(settings.HEADS_KEY))
    here = ranch()
    table = table_of_rows([dict(zip(COLUMNS, row, strict=True)) for row in seasons()])
    with transaction.atomic():
        act_for_user(here.user_id)
        record_table(farm=here.farm, table=table, plan=ImportPlan(), actor=PROGRAM, now=NOW)
    with transaction.atomic():
        with connection.cursor() as cursor:
            cursor.execute("SET LOCAL ROLE flyround_worker")
        sign_day(NOW)
        do_errands(NOW)
    return here


def _seconds_to_read() -> tuple[float, int]:
    began, rows = time.perf_counter(), 0
    for table in chained_tables().values():
        for _row in table.model._default_manager.values_list(*table.columns).iterator(chunk_size=5_000):
            rows += 1
    return time.perf_counter() - began, rows


def _evidence(here: Ranch) -> tuple[int, float, float]:
    with transaction.atomic():
        act_for_user(here.user_id)
        began = time.perf_counter()
        document = evidence_of(here.farm, NOW)
        writing = time.perf_counter() - began
    began = time.perf_counter()
    found = check(json.loads(document), [], json.loads(next(Path(settings.HEADS_DIR).glob("head-*.json")).read_text()))
    assert found.wrong == [] and found.last_covered == found.entries
    return len(document), writing, time.perf_counter() - began


def _figure(value: float, unit: str) -> dict[str, Any]:
    return {"value": round(value, 2), "unit": unit, "runs": 1}
