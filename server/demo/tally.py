"""What the demo has brought about, counted through the role that reads everything and writes nothing."""

from typing import Any

from django.db.models import Count

from alerts.models import Alert, Digest, MondayList
from alerts.models.outbox import DeliveryState
from farms.models import Farm
from monitoring.models import Reading, RegionReport


def tally(using: str = "backup") -> dict[str, Any]:
    """Farms, readings, alerts by kind, notices sent, region reports published."""
    alerts = Alert.objects.using(using).values_list("rule").annotate(many=Count("opened_at")).order_by("rule")
    sent = [model.objects.using(using).filter(state=DeliveryState.SENT).count() for model in (Digest, MondayList)]
    return {
        "farms": Farm.objects.using(using).count(),
        "readings": Reading.objects.using(using).count(),
        "alerts": dict(alerts),
        "notices": sum(sent),
        "region_reports": RegionReport.objects.using(using).count(),
    }
