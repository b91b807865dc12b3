"""What is open before a week is looked at, and how it was when it was last noted."""

from collections.abc import Collection, Sequence
from datetime import date
from typing import Any
from uuid import UUID

from django.db import connection
from django.db.models.functions import Coalesce

from alerts.checks.known import OpenAlert
from alerts.checks.signals import ENDINGS
from alerts.models import Alert
from alerts.models.alert import BY_THE_CHECK, Rule
from farms.lookups import array_of

LAST_NOTED = """
SELECT DISTINCT ON (farm_id, alert_id) alert_id, COALESCE((evidence ->> 'met')::boolean, true)
FROM alerts_alertevent
WHERE farm_id = ANY(%s::uuid[]) AND alert_id = ANY(%s::uuid[]) AND week < %s AND kind = ANY(%s)
ORDER BY farm_id, alert_id, week DESC, at DESC
"""
LAST_ROUNDS = """
SELECT DISTINCT ON (farm_id, alert_id) alert_id, (evidence ->> 'last_round')::date
FROM alerts_alertevent
WHERE farm_id = ANY(%s::uuid[]) AND alert_id = ANY(%s::uuid[]) AND kind = ANY(%s)
ORDER BY farm_id, alert_id, week DESC, at DESC
"""


def open_alerts_of(farm_ids: Collection[UUID]) -> list[OpenAlert]:
    """The open alerts of many farms."""
    rows = Alert.objects.filter(farm_id__any_of=array_of(farm_ids), closed_at__isnull=True)
    rows = rows.annotate(since_week=Coalesce("reopened_week", "opened_week"))
    return [OpenAlert(*row) for row in rows.values_list(*OpenAlert._fields)]


def last_noted(alerts: Sequence[OpenAlert], week: date) -> dict[UUID, bool]:
    """Whether the rule of each alert (its id) was met when it was last noted before a week; of rules by yes or no."""
    asked = [alert for alert in alerts if alert.rule in ENDINGS and ENDINGS[alert.rule].weeks > 1]
    if not asked:
        return {}
    return _noted(LAST_NOTED, asked, week)


def last_rounds_noted(alerts: Sequence[OpenAlert]) -> dict[UUID, date | None]:
    """A farm's last round as it stood when its overdue alert (its id) was last noted."""
    asked = [alert for alert in alerts if alert.rule == Rule.OVERDUE]
    return _noted(LAST_ROUNDS, asked) if asked else {}


def _noted(query: str, alerts: Sequence[OpenAlert], *before: date) -> dict[UUID, Any]:
    farms, ids = {alert.farm_id for alert in alerts}, [alert.id for alert in alerts]
    with connection.cursor() as cursor:
        kinds = [kind.value for kind in BY_THE_CHECK]
        cursor.execute(query, [array_of(farms).text, array_of(ids).text, *before, kinds])
        return dict(cursor.fetchall())
