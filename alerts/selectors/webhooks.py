"""A farm's webhooks, and how much waits to be sent to those of each group's farms."""

from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING
from uuid import UUID

from django.db.models import Count, Min, QuerySet

from alerts.models import Webhook, WebhookDelivery
from alerts.models.webhook import HookState

if TYPE_CHECKING:
    from farms.models import Farm


@dataclass(frozen=True)
class HookQueue:
    """What waits for webhooks that are switched on, and since when; how many of them fail."""

    waiting: int = 0
    oldest_at: datetime | None = None
    failing: int = 0


def webhooks_of(farm: "Farm") -> QuerySet[Webhook]:
    """The farm's webhooks that were not taken away, oldest first."""
    return Webhook.objects.filter(farm_id=farm.id, ended_at__isnull=True).order_by("id")


def hook_queues() -> dict[UUID, HookQueue]:
    """By group, over all farms that may be seen; only groups where something waits or fails."""
    on = Webhook.objects.filter(ended_at__isnull=True, off_at__isnull=True)
    failing = on.filter(failures__gt=0).order_by().values_list("farm__group_id").annotate(Count("id"))
    waiting = WebhookDelivery.objects.filter(
        state__in=(HookState.WAITING, HookState.SENDING), webhook__ended_at__isnull=True, webhook__off_at__isnull=True
    )
    found = waiting.order_by().values_list("farm__group_id").annotate(Count("id"), Min("queued_at"))
    fail, wait = dict(failing), {group: (number, oldest) for group, number, oldest in found}
    return {group: HookQueue(*wait.get(group, (0, None)), fail.get(group, 0)) for group in fail.keys() | wait.keys()}
