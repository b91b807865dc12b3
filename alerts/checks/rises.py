"""Which rises open an alert: cut across the group once a week, so that few of them are false alarms.

Each farm is judged by its own weeks alone; what the group adds is how small a p-value has to be, since of many level
farms some look like rising ones by chance.
"""

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Any
from uuid import UUID

import numpy as np
from django.db import connection, transaction

from alerts.checks.alert_evidence import rising_evidence
from alerts.checks.claims import keep_run, renew
from alerts.checks.known import Change, Result
from alerts.checks.life import opens_by_rise
from alerts.checks.occasion import Occasion
from alerts.checks.store import store_changes
from alerts.models import Alert, Assessment, CheckRun
from alerts.models.alert import EventKind, Rule
from alerts.models.assessment import TrendWord
from alerts.rounds import season_on
from alerts.selectors.results import latest
from alerts.selectors.rounds import seasons_by_farm
from farms.lookups import array_of
from monitoring.analysis.group_list import names_by_benjamini_hochberg

if TYPE_CHECKING:
    from farms.models import Farm

CHUNK = 500
P_VALUES = """
SELECT method, array_agg(p_rise) FROM (
    SELECT DISTINCT ON (a.farm_id, a.method) a.method, a.p_rise, a.mean
    FROM alerts_assessment a JOIN farms_farm f ON f.id = a.farm_id
    WHERE f.group_id = %s AND a.week = %s AND a.facility_id IS NULL
    ORDER BY a.farm_id, a.method, a.revision DESC) newest
WHERE p_rise IS NOT NULL AND mean IS NOT NULL GROUP BY method
"""


def open_rises(farms: "Sequence[Farm]", occasion: Occasion, run: CheckRun) -> None:
    """Fix the week's bars and open an alert for each rise that is under them. Once: a run that goes on keeps its bars.

    Raises RunLost where the run is another worker's by now.
    """
    if not occasion.rules.is_on(Rule.RISING):
        return
    bars = _fixed(occasion, run)
    for start in range(0, len(farms), CHUNK):
        farm_ids = _in_season(farms[start : start + CHUNK], occasion)
        renew(run)
        with transaction.atomic():
            keep_run(run)
            opened = set(_open_rises_of(farm_ids))
            rows = (row for row in _rising(farm_ids, occasion) if (row.farm_id, row.method) not in opened)
            store_changes([_opened(row) for row in rows if opens_by_rise(row, bars)], occasion)


def _in_season(farms: "Sequence[Farm]", occasion: Occasion) -> list[UUID]:
    """The farms whose season is open on the day they are seen from, as every other rule asks: what closed is quiet."""
    seasons = seasons_by_farm([farm.id for farm in farms])
    return [farm.id for farm in farms if season_on(seasons[farm.id], occasion.day_on(farm)) is not None]


def bars_of(p_values: dict[str, Sequence[float]], false_share: float) -> dict[str, float]:
    """By method, the largest p-value that Benjamini and Hochberg's rule names; 0.0 where it names none."""
    bars = {}
    for method, values in p_values.items():
        array = np.asarray(values, np.float64)
        named = names_by_benjamini_hochberg(array, false_share)
        bars[method] = float(array[named].max()) if named.any() else 0.0
    return bars


def _fixed(occasion: Occasion, run: CheckRun) -> dict[str, float]:
    if run.rise_bars is None:
        with connection.cursor() as cursor:
            cursor.execute(P_VALUES, [occasion.group.id, occasion.week])
            p_values = dict(cursor.fetchall())
        run.rise_bars = bars_of(p_values, occasion.rules.number(Rule.RISING, "false_share"))
        with transaction.atomic():
            keep_run(run)
            CheckRun.objects.filter(id=run.id).update(rise_bars=run.rise_bars)
    return dict(run.rise_bars)


def _open_rises_of(farm_ids: Sequence[UUID]) -> Iterator[tuple[UUID, str]]:
    rows = Alert.objects.filter(farm_id__any_of=array_of(farm_ids), closed_at__isnull=True, rule=Rule.RISING)
    return rows.values_list("farm_id", "method").iterator()


def _rising(farm_ids: Sequence[UUID], occasion: Occasion) -> list[Result]:
    rows = Assessment.objects.filter(farm_id__any_of=array_of(farm_ids), week=occasion.week, facility__isnull=True)
    found = latest(rows).values_list(*STORED, "evidence__flags")
    return [_result(row) for row in found if row[STORED.index("trend")] == TrendWord.RISING]


# Of a stored result nothing is known of what its week's other rules said, and nothing needs to be.
NOT_STORED = ("late", "one_place", "met", "known", "details")
STORED = [name for name in Result._fields if name not in NOT_STORED]


def _result(row: tuple[Any, ...]) -> Result:
    *stored, flags = row
    beside: dict[str, Any] = {"late": "late" in flags, "one_place": False, "met": 0, "known": 0, "details": {}}
    return Result(**dict(zip(STORED, stored, strict=True)), **beside)


def _opened(row: Result) -> Change:
    return Change(EventKind.OPENED, row.farm_id, (None, row.method, Rule.RISING.value), rising_evidence(row))
