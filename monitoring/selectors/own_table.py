"""A table of a farm's own that waits for whoever chose it, and how the farm's last one was read."""

from datetime import datetime, timedelta
from typing import Any

from django.db.models import QuerySet

from farms.models import Farm, User
from monitoring.models import OwnTable, OwnTableReading

# Long enough to look something up in the barn; then the file is chosen again.
WAITS = timedelta(hours=24)


def own_tables_of(farm: Farm, user: User, now: datetime) -> QuerySet[OwnTable]:
    """What this person chose and may still store."""
    return OwnTable.objects.filter(farm_id=farm.id, user_id=user.id, made_at__gt=now - WAITS)


def own_table_reading_of(farm: Farm) -> dict[str, Any] | None:
    """How the farm's last table was read; None before the first."""
    kept = OwnTableReading.objects.filter(farm_id=farm.id).first()
    return dict(kept.choices) if kept else None
