"""The weekly check of one group end to end, and how its cost grows with the number of farms.

The tables are filled anew for each number of farms (emptied, filled, vacuumed and analyzed, as tables in use are; not
timed): fifteen invented weeks of every farm by three methods, five cards, five traps and one leg count of twelve
animals, a tenth of them missing, on one facility or two. Rows lie as they came in, week by week and the farms of a week
in any order, as on a disk in use.

A process of its own logs in as the worker, as Celery's does. It judges the first Monday of a quarter first, on which
the group's borrowed figures are fitted, null distributions are drawn and alerts open (told as
`weekly_check.seconds_first_monday`). Then it judges the three Mondays after it as they come, each from the claim to the
finished run, each transaction under row security. The figure is their median; no Monday but a quarter's first starts
colder.
"""

import json
import os
import statistics
import subprocess
import sys
import time
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any
from uuid import UUID

import django
import numpy as np
from django.db import connection, connections, transaction

from farms.ids import uuid7

ROOT = Path(__file__).resolve().parents[2]
METHODS = 3
FARMS = (1_250, 2_500, 5_000, 10_000, 20_000)
WEEKS, JUDGED = 15, 4
NEWEST = date(2026, 7, 27)  # a Monday; three weeks before it is the first of a quarter
FIRST = NEWEST - timedelta(weeks=WEEKS - 1)
EMPTIED = (
    "alerts_alertevent", "alerts_alert", "alerts_assessment", "alerts_listedrise", "alerts_checkfailure",
    "alerts_checkrun", "alerts_borrowedfigures", "monitoring_weeklysummary", "monitoring_reading", "monitoring_round",
    "monitoring_siting", "monitoring_placement", "monitoring_station", "farms_ledgerentry", "farms_ledgerhead",
    "farms_season", "farms_facility", "farms_farm", "farms_holding", "farms_region", "farms_group",
)  # fmt: skip

FARMS_OF_A_GROUP = """
CREATE TEMPORARY TABLE scene ON COMMIT DROP AS
SELECT number, uuidv7() AS farm, uuidv7() AS holding, uuidv7() AS barn, uuidv7() AS lot
FROM generate_series(1, %(farms)s) AS number;
INSERT INTO farms_group (id, name, slug, time_zone, language, sides_counted)
VALUES (%(group)s, 'Bench', 'bench', 'America/Chicago', 'en', 1);
INSERT INTO farms_region (id, group_id, name, slug) VALUES (%(group)s, %(group)s, 'Bench', 'bench');
INSERT INTO farms_holding (id, group_id, name) SELECT holding, %(group)s, 'Holding ' || number FROM scene;
INSERT INTO farms_farm (id, group_id, region_id, holding_id, name, time_zone, language)
SELECT farm, %(group)s, %(group)s, holding, 'Farm ' || number, 'America/Chicago', 'en' FROM scene;
INSERT INTO farms_ledgerhead (farm_id, number, hash) SELECT farm, 0, decode(repeat('00', 32), 'hex') FROM scene;
INSERT INTO farms_season (farm_id, id, opens_on) SELECT farm, uuidv7(), %(first)s FROM scene;
INSERT INTO farms_facility (farm_id, id, name, kind, position)
SELECT farm, barn, 'Calf barn', 'calf_barn', 1 FROM scene
UNION ALL SELECT farm, lot, 'Dry lot', 'dry_lot', 2 FROM scene WHERE number %% 2 = 0;
"""
# Where there are two facilities, the traps and the leg count belong to the second. About one mean in twenty is over.
STATIONS = """
CREATE TEMPORARY TABLE places ON COMMIT DROP AS
SELECT scene.*, uuidv7() AS station, method, place, animals,
       usual * exp(0.5 * random_normal() + 0.5 * sin(ascii(method) * number)) AS level
FROM scene, LATERAL (
    SELECT 'card' AS method, place, NULL::int AS animals, 28 AS usual FROM generate_series(1, 5) AS place
    UNION ALL SELECT 'trap', place, NULL, 70 FROM generate_series(1, 5) AS place
    UNION ALL SELECT 'leg', 1, 12, 2.8) AS each;
INSERT INTO monitoring_station (farm_id, id, facility_id, method, number, position, since)
SELECT farm, station, CASE WHEN number %% 2 = 0 AND method <> 'card' THEN lot ELSE barn END,
       method, place, place, %(first)s
FROM places;
INSERT INTO monitoring_siting (farm_id, id, station_id, since, windy, near)
SELECT farm, uuidv7(), station, %(first)s, random() < 0.1,
       (ARRAY['nothing', 'nothing', 'milk', 'feed'])[1 + number %% 4]
FROM places;
"""
# Weeks scatter by 0.25 for all stations of a farm; one farm in twenty rises over the last three weeks.
ROUNDS = """
CREATE TEMPORARY TABLE walks ON COMMIT DROP AS
SELECT farm, week, uuidv7() AS round, %(first)s::date + 7 * week AS monday, random() AS arrives,
       exp(0.25 * random_normal() + CASE WHEN number %% 20 = 0 THEN 0.5 * greatest(week - 10, 0) ELSE 0 END) AS shock
FROM scene, generate_series(0, %(weeks)s - 1) AS week;
INSERT INTO monitoring_round (farm_id, id, walked_on, source, actor_kind, received_at, entry)
SELECT farm, round, monday + 6, 'form', 'farm_staff', monday + 6 + TIME '12:00', 0 FROM walks ORDER BY week, arrives;
"""
# A gamma variate of shape 1.5 is an exponential one and half the square of a normal one, so these counts are close to
# negative binomial with k 1.5. Of the missing tenth, half say why and half aren't there.
READINGS = """
INSERT INTO monitoring_reading (farm_id, id, round_id, station_id, method, how, count, fraction, at_least, reason,
    hung_on, taken_on, zone, sides, animals, pen, weather, sprayed, correction_kind, received_at, entry)
SELECT p.farm, uuidv7(), round, station, method, 'counted', CASE WHEN missing < 0.05 THEN NULL ELSE caught END, 1,
       false, CASE WHEN missing < 0.05 THEN 'lost' ELSE '' END,
       CASE WHEN animals IS NULL THEN monday - 1 END, monday + 6, 'America/Chicago', 1,
       CASE WHEN animals > 0 AND missing >= 0.05 THEN array_fill(caught / animals, ARRAY[animals - 1])
            || (caught - caught / animals * (animals - 1)) END,
       '', '', CASE WHEN animals > 0 THEN false END, '', monday + 6 + TIME '12:00', 0
FROM places AS p JOIN walks USING (farm),
LATERAL (SELECT random() + 0 * place AS missing,
                level * shock * coalesce(animals, 1) / 1.5 * CASE WHEN animals IS NULL
                    THEN random_normal() ^ 2 / 2 - ln(1 - random())
                    ELSE 1.5 * exp(0.25 * random_normal()) END AS mean) AS m,
LATERAL (SELECT greatest(round(mean + sqrt(mean) * random_normal()), 0)::int AS caught) AS c
WHERE missing < 0.05 OR missing >= 0.1
ORDER BY week, arrives;
"""


def fill(farms: int) -> UUID:
    """Empty the tables and fill them with one group of so many farms. Returns the group's id."""
    group = uuid7()
    asked = {"farms": farms, "group": group, "first": FIRST, "weeks": WEEKS}
    with connections["owner"].cursor() as cursor:
        cursor.execute(f"TRUNCATE {', '.join(EMPTIED)} CASCADE")
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("SET LOCAL ROLE flyround_factory")
        cursor.execute("SELECT setseed(0.20260601)")
        for statements in (FARMS_OF_A_GROUP, STATIONS, ROUNDS, READINGS):
            cursor.execute(statements, asked)
    with connections["owner"].cursor() as cursor:
        cursor.execute("VACUUM ANALYZE")
    return group


def judge(group: UUID, week: date) -> float:
    """Seconds from the claim of a group's week to its finished run, as the worker's task goes."""
    # Imported late: the figures' process never judges.
    from alerts.checks.claims import claim, finish
    from alerts.checks.group_week import run_group_week

    now = datetime.combine(week + timedelta(days=7), datetime.min.time(), UTC) + timedelta(hours=10, minutes=30)
    start = time.perf_counter()
    run = claim(group, week, now)
    assert run is not None, week
    judged = run_group_week(run=run, now=now)
    assert finish(run, now=now)
    taken = time.perf_counter() - start
    assert (len(judged), run.failures) == (run.farms, 0), (len(judged), run.farms, run.failures)
    return taken


def seconds_of_mondays(group: UUID) -> list[float]:
    """Seconds of each judged Monday, in order, by a worker's process of its own."""
    command = [sys.executable, "-m", "tests.bench.weekly_check", str(group)]
    done = subprocess.run(
        command, cwd=ROOT, env=os.environ | {"DATABASE_ROLE": "worker"}, capture_output=True, text=True, check=False
    )
    if done.returncode:
        raise RuntimeError(f"The judging process failed: {done.stderr[-2000:]}")
    seconds: list[float] = json.loads(done.stdout)
    return seconds


def figures() -> dict[str, dict[str, Any]]:
    """Name, value, unit and number of runs of every figure of this bench."""
    mondays = np.array([seconds_of_mondays(fill(farms)) for farms in FARMS])
    medians = [statistics.median(each) for each in mondays[:, 1:].tolist()]
    exponent = np.polyfit(np.log(FARMS), np.log(medians), 1)[0]
    told = {
        f"weekly_check.seconds_{METHODS * farms}": _figure(seconds, "s", JUDGED - 1)
        for farms, seconds in zip(FARMS, medians, strict=True)
    }
    return told | {
        "weekly_check.seconds_first_monday": _figure(float(mondays[-1, 0]), "s", 1),
        "weekly_check.exponent": _figure(float(exponent), "power of the number of farms", JUDGED - 1),
    }


def _figure(value: float, unit: str, runs: int) -> dict[str, Any]:
    return {"value": round(value, 3), "unit": unit, "runs": runs}


def main(group: str) -> None:
    """Judge the last Mondays in order and print their seconds, as the process that is timed."""
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "server.settings")
    django.setup()
    weeks = [NEWEST - timedelta(weeks=back) for back in reversed(range(JUDGED))]
    print(json.dumps([judge(UUID(group), week) for week in weeks]))


if __name__ == "__main__":
    main(sys.argv[1])
