"""The region reports of 20,000 farms in 200 regions, audit included, and what the final table saves a page.

Invented: each region's hundred farms have three methods' summaries of half a year, lognormal between farms, with a
season, weather that a region's farms share, and a tenth missing; nine in ten agreed, and an adviser sees forty of each
region. A process of its own logs in as the worker does and publishes a Monday's reports as `alerts.monday` does, from
the first cohort on (it fixes all 200).

The page's figures are those of a season of every region by one method: mean, middle third, share over the level and
ratio to the own normal, once from 520,000 readings of 4,000 farms in 40 regions and once from the table of reports.
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
from django.test import Client
from django.urls import reverse

from farms.ids import uuid7

ROOT = Path(__file__).resolve().parents[2]
FARMS, REGIONS = 20_000, 200
RAW_FARMS, RAW_REGIONS = 4_000, 40
WEEKS = 26
NEWEST = date(2026, 8, 31)  # a Monday
FIRST = NEWEST - timedelta(weeks=WEEKS - 1)
LEVELS = {"card": 100.0, "trap": 250.0, "leg": 10.0}
PAGES = 5
ASKED, WARMING = 200, 10
EMPTIED = (
    "monitoring_regionreport", "monitoring_contribution", "monitoring_cohort", "monitoring_heldreport",
    "monitoring_weeklysummary", "monitoring_reading", "monitoring_round", "monitoring_station", "farms_consent",
    "farms_membership", "farms_groupmember", "farms_ledgerhead", "farms_facility", "farms_farm", "farms_holding",
    "farms_region", "farms_group",
)  # fmt: skip

PLACES = """
CREATE TEMPORARY TABLE scene ON COMMIT DROP AS
SELECT number, uuidv7() AS farm, uuidv7() AS holding, number %% %(regions)s AS region, exp(0.6 * random_normal()) AS own
FROM generate_series(1, %(farms)s) AS number;
CREATE TEMPORARY TABLE parts ON COMMIT DROP AS
SELECT number AS region, uuidv7() AS id FROM generate_series(0, %(regions)s - 1) AS number;
INSERT INTO farms_group (id, name, slug, time_zone, language, sides_counted)
VALUES (%(group)s, 'Bench', 'bench', 'America/Chicago', 'en', 1);
INSERT INTO farms_region (id, group_id, name, slug)
SELECT id, %(group)s, 'Bench ' || region, 'bench-' || region FROM parts;
INSERT INTO farms_holding (id, group_id, name) SELECT holding, %(group)s, 'Holding ' || number FROM scene;
INSERT INTO farms_farm (id, group_id, region_id, holding_id, name, time_zone, language)
SELECT farm, %(group)s, parts.id, holding, 'Farm ' || number, 'America/Chicago', 'en'
FROM scene JOIN parts USING (region);
INSERT INTO farms_user (id, email, name, language, password, is_superuser, is_active, is_staff, date_joined)
SELECT uuidv7(), 'adviser' || region || '.' || %(group)s || '@example.org', 'Adviser', 'en', '', false, true, false,
       now()
FROM parts;
CREATE TEMPORARY TABLE advisers ON COMMIT DROP AS
SELECT id AS adviser, substring(email FROM 'adviser([0-9]+)')::int AS region FROM farms_user
WHERE email LIKE 'adviser%%' || %(group)s || '%%';
INSERT INTO farms_groupmember (id, group_id, user_id, role, name)
SELECT uuidv7(), %(group)s, adviser, 'adviser', '' FROM advisers;
INSERT INTO farms_consent (farm_id, id, kind, given_by_id, given_at, entry)
SELECT farm, uuidv7(), 'regional', adviser, '2026-01-05', 0 FROM scene JOIN advisers USING (region)
WHERE number / %(regions)s %% 10 > 0;
INSERT INTO farms_consent (farm_id, id, kind, adviser_id, given_by_id, given_at, entry)
SELECT farm, uuidv7(), 'adviser', adviser, adviser, '2026-01-05', 0 FROM scene JOIN advisers USING (region)
WHERE number / %(regions)s %% 10 < 4;
"""
SUMMARIES = """
CREATE TEMPORARY TABLE weather ON COMMIT DROP AS
SELECT region, week, exp(0.25 * random_normal() + 0.8 * sin(pi() * week / 26)) AS shared
FROM parts, generate_series(0, %(weeks)s - 1) AS week;
INSERT INTO monitoring_weeklysummary (farm_id, method, week, stations, devices, missing, counted, days, animals, mean,
    at_least, last_received_at)
SELECT farm, method, %(first)s::date + 7 * week, 5, 5, 0, 100, 35, 0,
       usual * own * shared * exp(0.4 * random_normal()), false, now()
FROM scene JOIN weather USING (region),
     (VALUES ('card', 45), ('trap', 110), ('leg', 4.5)) AS m (method, usual)
WHERE random() > 0.1;
"""
READINGS = """
CREATE TEMPORARY TABLE cards ON COMMIT DROP AS
SELECT farm, region, own, uuidv7() AS station, uuidv7() AS facility FROM scene, generate_series(1, 5);
INSERT INTO farms_facility (farm_id, id, name, kind, position)
SELECT DISTINCT ON (farm) farm, facility, 'Barn', 'calf_barn', 1 FROM cards ORDER BY farm, facility;
UPDATE cards SET facility = f.id FROM farms_facility f WHERE f.farm_id = farm;
INSERT INTO monitoring_station (farm_id, id, facility_id, method, number, position, since)
SELECT farm, station, facility, 'card', row_number() OVER (PARTITION BY farm ORDER BY station), 1, %(first)s FROM cards;
CREATE TEMPORARY TABLE walks ON COMMIT DROP AS
SELECT farm, week, uuidv7() AS round, %(first)s::date + 7 * week AS monday
FROM scene, generate_series(0, %(weeks)s - 1) AS week;
INSERT INTO monitoring_round (farm_id, id, walked_on, source, actor_kind, received_at, entry)
SELECT farm, round, monday + 6, 'form', 'farm_staff', monday + 6 + TIME '12:00', 0 FROM walks ORDER BY week;
INSERT INTO monitoring_reading (farm_id, id, round_id, station_id, method, how, count, fraction, at_least, reason,
    hung_on, taken_on, zone, sides, pen, weather, correction_kind, received_at, entry)
SELECT farm, uuidv7(), round, station, 'card', 'counted', (45 * own * exp(0.8 * random_normal()))::int, 1, false, '',
       monday - 1, monday + 6, 'America/Chicago', 1, '', '', '', monday + 6 + TIME '12:00', 0
FROM cards JOIN walks USING (farm) ORDER BY week;
"""
# The season of every region as the reports have it, from readings: a station's rate, the farm's mean, the holding's;
# then mean, middle third, share over and the ratio to the holding's own normal. No gate, no audit, no cohort.
FROM_READINGS = """
WITH rates AS (
    SELECT r.farm_id, r.station_id, date_trunc('week', r.taken_on - (r.taken_on - r.hung_on) / 2)::date AS week,
           7 * sum(r.count / r.fraction) / sum(r.taken_on - r.hung_on) AS rate
    FROM monitoring_reading r WHERE r.method = 'card' AND r.count IS NOT NULL GROUP BY 1, 2, 3
), farms AS (
    SELECT farm_id, week, avg(rate) AS mean FROM rates GROUP BY 1, 2
), holdings AS (
    SELECT f.region_id, f.holding_id, week, avg(mean) AS mean
    FROM farms JOIN farms_farm f ON f.id = farms.farm_id GROUP BY 1, 2, 3
), placed AS (
    SELECT *, ntile(3) OVER (PARTITION BY region_id, week ORDER BY mean) AS third,
           ln(mean + 1) - avg(ln(mean + 1)) OVER (PARTITION BY holding_id ORDER BY week
               ROWS BETWEEN 52 PRECEDING AND 1 PRECEDING) AS ratio
    FROM holdings
)
SELECT region_id, week, avg(mean), avg(mean) FILTER (WHERE third = 2), avg((mean > 100)::int), exp(avg(ratio)), count(*)
FROM placed GROUP BY 1, 2 ORDER BY 1, 2
"""
FROM_REPORTS = """
SELECT region_id, week, mean, middle, share_over, normal, contributors FROM monitoring_regionreport
WHERE method = 'card' AND part = '' AND week >= %s AND region_id = ANY(%s) ORDER BY 1, 2
"""
REPORTS = """
INSERT INTO monitoring_regionreport (id, region_id, method, week, disclosure, contributors, mean, middle, share_over,
    normal, word, level, cutoff_at, published_at, cohort_hash, rule_version, code_version)
SELECT uuidv7(), r.id, method, %(first)s::date + 7 * week, 'numbers', '20 or more', 100, 95, 0.4, 1.1, 'middle', 100,
       now(), now(), '', 'bench', 'bench'
FROM farms_region r, generate_series(0, %(weeks)s - 1) AS week, unnest(ARRAY['card', 'trap', 'leg']) AS method;
"""


def fill(farms: int, regions: int, *statements: str) -> UUID:
    """Empty the tables and fill them with one group of so many farms and regions. Returns the group's id."""
    group = uuid7()
    asked = {"farms": farms, "regions": regions, "group": group, "first": FIRST, "weeks": WEEKS}
    with connections["owner"].cursor() as cursor:
        cursor.execute(f"TRUNCATE {', '.join(EMPTIED)} CASCADE")
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("SET LOCAL ROLE flyround_factory")
        cursor.execute("SELECT setseed(0.20260601)")
        for each in (PLACES, *statements):
            cursor.execute(each, asked)
    with connections["owner"].cursor() as cursor:
        cursor.execute("VACUUM ANALYZE")
    return group


def figures() -> dict[str, dict[str, Any]]:
    """Name, value, unit and number of runs of every figure of this bench."""
    seconds, numbers = publishing(fill(FARMS, REGIONS, SUMMARIES))
    ratio, raw, table = page_against_raw()
    with_data, without = page_with_and_without_data()
    return {
        f"regional.minutes_{FARMS}": _figure(seconds / 60, "min", 1),
        "regional.share_with_numbers": _figure(numbers, "of reports", 1),
        "regional.page_vs_raw": _figure(ratio, "times faster", PAGES),
        "regional.ms_from_readings": _figure(raw, "ms", PAGES),
        "regional.ms_from_reports": _figure(table, "ms", PAGES),
        "regional.page_p95_ratio": _figure(with_data / without, "times the page without data", ASKED),
        "regional.page_p95": _figure(with_data, "ms", ASKED),
    }


def publishing(group: UUID) -> tuple[float, float]:
    """Seconds that a Monday's reports take, by a process of its own; the share of them that has numbers."""
    command = [sys.executable, "-m", "tests.bench.regional", str(group)]
    done = subprocess.run(
        command, cwd=ROOT, env=os.environ | {"DATABASE_ROLE": "worker"}, capture_output=True, text=True, check=False
    )
    if done.returncode:
        raise RuntimeError(f"The publishing process failed: {done.stderr[-2000:]}")
    seconds, numbers = json.loads(done.stdout)
    return seconds, numbers


def page_against_raw() -> tuple[float, float, float]:
    """How many times faster a season of every region is from the reports than from readings; each one's ms."""
    fill(RAW_FARMS, RAW_REGIONS, READINGS, REPORTS)
    raw, table = [], []
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("SET LOCAL ROLE flyround_factory")
        cursor.execute("SELECT array_agg(id) FROM farms_region")
        regions = cursor.fetchone()[0]
        for _ in range(PAGES):
            raw.append(_milliseconds(cursor, FROM_READINGS, []))
            table.append(_milliseconds(cursor, FROM_REPORTS, [FIRST, regions]))
    middle = statistics.median(raw), statistics.median(table)
    return middle[0] / middle[1], *middle


def page_with_and_without_data() -> tuple[float, float]:
    """The 95th percentile, in ms, of the signed-in region page with half a year of reports, and of one without.

    On what `page_against_raw` filled in; of the second region the reports are deleted first.
    """
    from farms.models import Region, User

    full, empty = Region.objects.order_by("slug")[:2]
    with connections["owner"].cursor() as cursor:
        cursor.execute("DELETE FROM monitoring_regionreport WHERE region_id = %s", [empty.id])
    client = Client()
    client.force_login(User.objects.filter(group_roles__group=full.group).order_by("email")[0])
    taken: dict[Any, list[float]] = {full.id: [], empty.id: []}
    for number in range(2 * (ASKED + WARMING)):
        region = (full, empty)[number % 2].id
        start = time.perf_counter()
        answer = client.get(reverse("region", args=[region]), HTTP_HOST="localhost")
        assert answer.status_code == 200, answer.status_code
        if number >= 2 * WARMING:
            taken[region].append(1000 * (time.perf_counter() - start))
    return tuple(float(np.percentile(each, 95)) for each in taken.values())  # type: ignore[return-value]


def _milliseconds(cursor: Any, statement: str, asked: list[Any]) -> float:
    start = time.perf_counter()
    cursor.execute(statement, asked)
    rows = cursor.fetchall()
    taken = 1000 * (time.perf_counter() - start)
    assert len(rows) == WEEKS * RAW_REGIONS, len(rows)
    return taken


def _figure(value: float, unit: str, runs: int) -> dict[str, Any]:
    return {"value": round(value, 3), "unit": unit, "runs": runs}


def main(group: str) -> None:
    """Publish the newest week and print the seconds and the share with numbers, as the process that is timed."""
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "server.settings")
    django.setup()
    from monitoring.models import RegionReport
    from monitoring.regional import Edition, publish_week

    now = datetime.combine(NEWEST + timedelta(days=7), datetime.min.time(), UTC) + timedelta(hours=10)
    start = time.perf_counter()
    publish_week(group_id=UUID(group), edition=Edition(NEWEST, LEVELS, now, "bench"))
    taken = time.perf_counter() - start
    reports = RegionReport.objects.using("cohort")
    print(json.dumps([taken, reports.filter(disclosure="numbers").count() / reports.count()]))


if __name__ == "__main__":
    main(sys.argv[1])
