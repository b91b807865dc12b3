"""The farm's weekly summary, made anew in one statement from the current readings of the weeks touched.

It is what monitoring.analysis says of the same readings (rates.station_weeks, farm_mean.weekly_means), to the last
digit: the same sums in the same order of stations, by id.
"""

from collections.abc import Collection
from datetime import date
from typing import Any
from uuid import UUID

from django.db import connections

# In steps: the readings of each week with their exposure (a reading that was corrected away, or withdrawn, still dates
# the week's last change); pooled by station; the mean over stations. A stored part of 0.3333 stands for a third: the
# simplest fraction that rounds to it (rates.as_typed). More than 60 days nothing hangs, so a week's readings were taken
# down within 37 days after it began.
REFRESH = """
INSERT INTO monitoring_weeklysummary AS summary
    (farm_id, method, week, stations, devices, missing, counted, days, animals, mean, at_least, last_received_at)
WITH seen AS (
    SELECT r.farm_id, r.method, r.station_id, r.count, r.at_least, r.week,
           CASE WHEN r.method = 'leg' THEN cardinality(r.animals) ELSE r.taken_on - r.hung_on END AS exposure,
           CASE WHEN r.fraction = 1 THEN r.count::float8 ELSE r.count::float8 / (
               SELECT round(r.fraction * d)::float8 / d::float8 FROM generate_series(1, 10000) d
               WHERE round(r.fraction * d) > 0 AND abs(round(r.fraction * d) / d - r.fraction) <= 0.00005
               ORDER BY d LIMIT 1) END AS estimate,
           NOT r.is_corrected AND r.correction_kind <> 'withdrawn' AS is_current,
           CASE WHEN r.is_corrected THEN (
               SELECT GREATEST(r.received_at, later.received_at) FROM monitoring_reading later
               WHERE later.farm_id = r.farm_id AND later.corrects_id = r.id) ELSE r.received_at END AS received_at
    FROM (
        SELECT *, middle - mod(middle - DATE '1970-01-05', 7) AS week, (farm_id, id) IN (
            SELECT farm_id, corrects_id FROM monitoring_reading
            WHERE farm_id = ANY(%(farms)s) AND corrects_id IS NOT NULL) AS is_corrected
        FROM monitoring_reading CROSS JOIN LATERAL (
            SELECT COALESCE(hung_on, taken_on) + (taken_on - COALESCE(hung_on, taken_on)) / 2 AS middle) m
        WHERE farm_id = ANY(%(farms)s) AND taken_on >= %(first)s AND taken_on <= %(last)s
        -- Evaluated once: without it the planner repeats these expressions wherever they are used.
        OFFSET 0
    ) r WHERE r.week = ANY(%(weeks)s)
), stations AS (
    SELECT farm_id, method, week, station_id,
           count(count) FILTER (WHERE is_current) AS devices,
           count(*) FILTER (WHERE is_current AND count IS NULL) AS missing,
           sum(count) FILTER (WHERE is_current) AS counted,
           sum(exposure) FILTER (WHERE is_current AND count IS NOT NULL) AS exposure,
           CASE WHEN method = 'leg' THEN 1.0::float8 ELSE 7.0::float8 END
               * sum(estimate) FILTER (WHERE is_current)
               / sum(exposure) FILTER (WHERE is_current AND count IS NOT NULL) AS rate,
           COALESCE(bool_or(at_least) FILTER (WHERE is_current AND count IS NOT NULL), false) AS at_least,
           max(received_at) AS received_at
    FROM seen GROUP BY farm_id, method, week, station_id
)
SELECT farm_id, method, week,
       count(rate), sum(devices), sum(missing), sum(counted),
       COALESCE(sum(exposure) FILTER (WHERE method <> 'leg'), 0),
       COALESCE(sum(exposure) FILTER (WHERE method = 'leg'), 0),
       sum(rate ORDER BY station_id) / NULLIF(count(rate), 0), bool_or(at_least), max(received_at)
FROM stations GROUP BY farm_id, method, week ORDER BY farm_id, method, week
ON CONFLICT (farm_id, method, week) DO UPDATE SET
    stations = EXCLUDED.stations, devices = EXCLUDED.devices, missing = EXCLUDED.missing,
    counted = EXCLUDED.counted, days = EXCLUDED.days, animals = EXCLUDED.animals, mean = EXCLUDED.mean,
    at_least = EXCLUDED.at_least, last_received_at = EXCLUDED.last_received_at
"""
DAYS_AFTER_MONDAY = 6 + 30


def refresh_summaries(*, farm_ids: Collection[UUID], weeks: Collection[date], using: str = "default") -> None:
    """Make these farms' summaries of these weeks (their Mondays) anew. Called by every way in, in its transaction."""
    if not farm_ids or not weeks:
        return
    asked: dict[str, Any] = {
        "farms": list(farm_ids),
        "weeks": sorted(weeks),
        "first": min(weeks),
        "last": date.fromordinal(min(max(weeks).toordinal() + DAYS_AFTER_MONDAY, date.max.toordinal())),
    }
    with connections[using].cursor() as cursor:
        cursor.execute(REFRESH, asked)
