"""The weekly mails of a group's farms: sentences, HTML and picture, written into the outbox, as the worker does it.

A group of invented farms (`tests/bench/weekly_check.py` fills it) with an owner each, every fourth of whom reads
Spanish; its last nine Mondays are judged, so that every picture has eight weeks. Two processes then log in as the
worker, one a core, and write the newest week's mails of half the farms each under row security, as two workers do that
each have a group. The first farms are written unmeasured: they load templates, fonts and translations. The figure is
the mails of both over the time from the first's beginning to the last's end.
"""

import json
import os
import resource
import subprocess
import sys
import time
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any
from uuid import UUID

import django
from django.db import connection, transaction

from tests.bench.weekly_check import NEWEST, fill, judge

ROOT = Path(__file__).resolve().parents[2]
FARMS, WARMING, MONDAYS, WRITERS = 4_400, 200, 9, 2
MEBIBYTE = 1024  # kibibytes, in which Linux tells the peak

OWNERS = """
CREATE TEMPORARY TABLE owned ON COMMIT DROP AS
SELECT id AS farm, uuidv7() AS owner, row_number() OVER (ORDER BY id) AS number FROM farms_farm;
INSERT INTO farms_user (id, email, name, language, is_active, is_staff, is_superuser, password, date_joined)
SELECT owner, owner || '@example.org', 'Owner', CASE WHEN number %% 4 = 0 THEN 'es' ELSE 'en' END, true, false, false,
       '', %(now)s
FROM owned;
INSERT INTO farms_membership (farm_id, id, user_id, role, began_at)
SELECT farm, uuidv7(), owner, 'owner', %(now)s FROM owned;
INSERT INTO monitoring_work (farm_id, id, kind, done_on, actor_kind, recorded_at, entry)
SELECT farm, uuidv7(), 'clean_out', %(week)s::date - 20, 'farm_staff', %(now)s, 0 FROM owned WHERE number %% 3 = 0;
"""


def moment(week: date) -> datetime:
    """Half past five in Chicago on the Monday after a week."""
    return datetime.combine(week + timedelta(days=7), datetime.min.time(), UTC) + timedelta(hours=10, minutes=30)


def fill_with_owners(farms: int) -> UUID:
    """A filled group whose farms have an owner each and, every third, a clean-out. Returns the group's id."""
    group = fill(farms)
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("SET LOCAL ROLE flyround_factory")
        cursor.execute(OWNERS, {"now": moment(NEWEST), "week": NEWEST})
    return group


def write(group_id: UUID, week: date, part: int) -> dict[str, float]:
    """Write the mails of every second farm. Returns from when to when, how many, and by how much it grew [MiB]."""
    # Imported late: the figures' process never writes.
    from alerts.delivery.digest import queue_digests
    from farms.models import Farm, Group

    group = Group.objects.get(id=group_id)
    farms = list(Farm.objects.filter(group=group).order_by("id"))[part::WRITERS]
    queue_digests(group, farms[:WARMING], week=week, now=moment(week))
    before, start = _peak(), time.time()
    queued = queue_digests(group, farms[WARMING:], week=week, now=moment(week))
    assert queued == len(farms) - WARMING, queued
    return {"start": start, "end": time.time(), "growth": _peak() - before, "mails": queued}


def _peak() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / MEBIBYTE


def started(*words: str) -> subprocess.Popen[str]:
    """A worker's process of its own that does what the words say."""
    command = [sys.executable, "-m", "tests.bench.alerts", *words]
    return subprocess.Popen(
        command, cwd=ROOT, env=os.environ | {"DATABASE_ROLE": "worker"}, stdout=subprocess.PIPE,
        stderr=subprocess.PIPE, text=True,
    )  # fmt: skip


def told_by(process: subprocess.Popen[str]) -> dict[str, float]:
    """What a process measured."""
    out, err = process.communicate()
    if process.returncode:
        raise RuntimeError(f"The writing process failed: {err[-2000:]}")
    told: dict[str, float] = json.loads(out)
    return told


def figures() -> dict[str, dict[str, Any]]:
    """Name, value, unit and number of mails of every figure of this bench."""
    group = str(fill_with_owners(FARMS))
    told_by(started(group, "judge"))
    writers = [started(group, str(part)) for part in range(WRITERS)]
    told = [told_by(writer) for writer in writers]
    mails = int(sum(each["mails"] for each in told))
    seconds = max(each["end"] for each in told) - min(each["start"] for each in told)
    growth = max(each["growth"] for each in told)
    return {
        "alerts.digests_per_second": {"value": round(mails / seconds, 1), "unit": "digests a second", "runs": mails},
        "alerts.digests_peak_growth": {"value": round(growth, 1), "unit": "MiB a process", "runs": mails},
    }


def main(group: str, what: str) -> None:
    """Judge the last Mondays, or write a part of the newest one's mails and print what that took."""
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "server.settings")
    django.setup()
    if what == "judge":
        for back in reversed(range(MONDAYS)):
            judge(UUID(group), NEWEST - timedelta(weeks=back))
        print("{}")
    else:
        print(json.dumps(write(UUID(group), NEWEST, int(what))))


if __name__ == "__main__":
    main(*sys.argv[1:])
