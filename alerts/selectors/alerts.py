"""Open alerts and their history."""

from typing import TYPE_CHECKING

from django.db.models import F, QuerySet

from alerts.models import Alert, AlertEvent

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
