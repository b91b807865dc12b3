"""The weekly mails of a group's farms: sentences, HTML and picture, written into the outbox, as the worker does it.

A group of invented farms (`tests/bench/weekly_check.py` fills it) with an owner each, every fourth of whom reads
Spanish; its last nine Mondays are judged, so that every picture has eight weeks. Two processes then log in as the
worker, one a core, and write the newest week's mails of half the farms each under row security, as two workers do that
each have a group. The first farms are written unmeasured: they load templates, fonts and translations. The figure is
the mails of both over the time from the first's beginning to the last's end.

`alerts.minutes_20000` is a whole Monday of a group of 20,000 such farms in one worker's process, as its task goes: from
the claim through judging, side by side on both cores, alerts and the Monday's names, to the last mail written and the
finished run. The Mondays before it are judged unmeasured. `alerts.growth_20000` is by how much more memory it holds
while it writes the last thousand mails than while it wrote the first: the most of each.
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

from tests.bench.weekly_check import NEWEST, WEEKS, fill, judge

ROOT = Path(__file__).resolve().parents[2]
FARMS, WARMING, MONDAYS, WRITERS = 4_400, 200, 9, 2
MEBIBYTE = 1024  # kibibytes, in which Linux tells the peak
LARGE_GROUP, THOUSAND = 20_000, 1_000
# Which Mondays a process judges, by how many weeks they lie back.
JUDGED = {"judge": range(MONDAYS), "judge before": range(1, MONDAYS), "judge every": range(WEEKS)}

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


def whole_monday(group_id: UUID, week: date) -> dict[str, float]:
    """Judge a week, open its alerts and write its mails. Returns seconds of both, mails, and growth meanwhile [MiB]."""
    # Imported late: the figures' process never judges.
    from alerts.checks.claims import claim, finish, renew
    from alerts.checks.group_week import run_group_week
    from alerts.delivery.due_digests import write_due

    now, start, held = moment(week), time.perf_counter(), list[float]()
    run = claim(group_id, week, now)
    assert run is not None, week

    def keep() -> None:
        renew(run)
        held.append(_resident())

    run_group_week(run=run, now=now)
    judged = time.perf_counter()
    written = write_due(run, now, keep=keep)
    held.append(_resident())
    assert finish(run, now=now)
    done = time.perf_counter()
    assert (written, run.failures) == (run.farms, 0), (written, run.farms, run.failures)
    # Memory is looked at before each part and after the last; the first part loads templates, fonts and translations.
    parts = max(1, round(THOUSAND / (written / (len(held) - 1))))
    growth = max(held[-parts:]) - max(held[1 : 1 + parts])
    return {"judged": judged - start, "written": done - judged, "mails": written, "growth": growth}


def _resident() -> float:
    """What this process holds now [MiB]."""
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    return pages * resource.getpagesize() / MEBIBYTE**2


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
    } | figures_of_a_monday()


def figures_of_a_monday(farms: int = LARGE_GROUP) -> dict[str, dict[str, Any]]:
    """Those of a whole Monday of a group of so many farms."""
    group = str(fill_with_owners(farms))
    told_by(started(group, "judge before"))
    told = told_by(started(group, "whole monday"))
    mails = int(told["mails"])
    minutes = {
        f"alerts.minutes_{farms}": (told["judged"] + told["written"]) / 60,
        f"alerts.minutes_{farms}_judging": told["judged"] / 60,
    }
    measured = {name: {"value": round(value, 2), "unit": "minutes", "runs": 1} for name, value in minutes.items()}
    growth = {"value": round(told["growth"], 1), "unit": "MiB from the first thousand mails to the last", "runs": mails}
    return measured | {f"alerts.growth_{farms}": growth}


def main(group: str, what: str) -> None:
    """Judge the last Mondays, or write a part of the newest one's mails and print what that took."""
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "server.settings")
    django.setup()
    if what in JUDGED:
        for back in reversed(JUDGED[what]):
            judge(UUID(group), NEWEST - timedelta(weeks=back))
        print("{}")
    elif what == "whole monday":
        print(json.dumps(whole_monday(UUID(group), NEWEST)))
    else:
        print(json.dumps(write(UUID(group), NEWEST, int(what))))


if __name__ == "__main__":
    main(*sys.argv[1:])
