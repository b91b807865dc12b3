"""A table of a farm's own between two pages, and how it was read, for the next one."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.db import transaction

from farms.models import Farm, User
from monitoring.models import OwnTable, OwnTableReading


@transaction.atomic
def keep_own_table(*, farm: Farm, user: User, name: str, content: bytes, now: datetime) -> OwnTable:
    """Keep a file until it is stored or another one is chosen; it is read by whoever chose it."""
    OwnTable.objects.filter(farm_id=farm.id, user_id=user.id).delete()
    return OwnTable.objects.create(farm=farm, user_id=user.id, name=name[:120], content=content, made_at=now)


def forget_own_table(*, table: OwnTable) -> None:
    OwnTable.objects.filter(farm_id=table.farm_id, id=table.id).delete()


@transaction.atomic
def keep_own_table_reading(*, farm: Farm, choices: Mapping[str, Any], now: datetime) -> None:
    """Keep how a table was read; the one before is replaced."""
    kept = OwnTableReading.objects.filter(farm_id=farm.id)
    if not kept.update(choices=dict(choices), kept_at=now):
        OwnTableReading.objects.create(farm=farm, choices=dict(choices), kept_at=now)
