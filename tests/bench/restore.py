"""How long a backup and a restore of a million readings take, by the commands themselves, on two cores.

Twenty farms of 50,000 readings each with placements, rounds, chains and weekly summaries. The restore goes over the
same servers' own database, as after a mishap: a second database beside it, compared with the manifest, exchanged.
"""

import tempfile
import time
from io import StringIO
from pathlib import Path
from typing import Any

from django.core.management import call_command
from django.db import connections

from server.backup import backup_login
from server.backup.contents import contents_of
from tests.season_filled import fill

MILLION = 1_000_000


def figures() -> dict[str, dict[str, Any]]:
    """Name, value, unit and number of runs of every figure."""
    fill(MILLION)
    connections.close_all()
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "million.backup"
        begin = time.monotonic()
        call_command("backup", file, stdout=StringIO())
        taken = time.monotonic()
        call_command("restore", file, replace_database="flyround", stdout=StringIO())
        restored = time.monotonic()
        size = file.stat().st_size
    with backup_login().connect() as connection:
        assert contents_of(connection)["tables"]["monitoring_reading"]["rows"] >= MILLION
    return {
        "restore.minutes_1000000": _figure((restored - taken) / 60, "minutes for 1,000,000 readings"),
        "restore.backup_minutes_1000000": _figure((taken - begin) / 60, "minutes for 1,000,000 readings"),
        "restore.backup_mb_1000000": _figure(size / 1e6, "MB for 1,000,000 readings"),
    }


def _figure(value: float, unit: str) -> dict[str, Any]:
    return {"value": round(value, 3), "unit": unit, "runs": 1}
