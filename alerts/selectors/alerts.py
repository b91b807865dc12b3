"""Open alerts and their history."""

from collections.abc import Collection
from datetime import datetime
from typing import TYPE_CHECKING
from uuid import UUID

from django.db.models import F, Max, QuerySet

from alerts.models import Alert, AlertEvent
from farms.lookups import array_of

if TYPE_CHECKING:
    from farms.models import Farm


def open_alerts(farm: "Farm") -> QuerySet[Alert]:
    """A farm's open alerts, the whole farm's first, then by facility in walking order."""
    alerts = Alert.objects.filter(farm_id=farm.id, closed_at__isnull=True).select_related("facility")
    return alerts.order_by(F("facility__position").asc(nulls_first=True), "method", "rule", "opened_week")


def alert_history(alert: Alert) -> QuerySet[AlertEvent]:
    """What happened to an alert, oldest first."""
    return AlertEvent.objects.filter(farm_id=alert.farm_id, alert_id=alert.id).order_by("at", "id")


def alerts_of(farm: "Farm") -> QuerySet[Alert]:
    """A farm's alerts, open and closed; the order is the caller's."""
    return Alert.objects.filter(farm_id=farm.id)


def open_alerts_of_farms(farm_ids: Collection[UUID]) -> QuerySet[Alert]:
    """The open alerts of many farms, newest first."""
    alerts = Alert.objects.filter(farm_id__any_of=array_of(farm_ids), closed_at__isnull=True)
    return alerts.select_related("facility").order_by("-opened_at", "farm_id", "id")


def alerts_last_changed(farm_ids: Collection[UUID]) -> datetime | None:
    """When an alert of these farms was last opened or closed; None where there was never one."""
    alerts = Alert.objects.filter(farm_id__any_of=array_of(farm_ids))
    changes = alerts.aggregate(opened=Max("opened_at"), closed=Max("closed_at"))
    return max((moment for moment in changes.values() if moment), default=None)
