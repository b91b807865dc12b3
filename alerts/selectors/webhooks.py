"""A farm's webhooks, and how much waits to be sent to those of each group's farms."""

from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING
from uuid import UUID

from django.db.models import Count, Min, QuerySet
from django.db.models.functions import Greatest

from alerts.models import Webhook, WebhookDelivery
from alerts.models.webhook import HookState

if TYPE_CHECKING:
    from farms.models import Farm


@dataclass(frozen=True)
class HookQueue:
    """What waits for webhooks that are switched on; since when the first of it could be sent; how many of them fail."""

    waiting: int = 0
    oldest_at: datetime | None = None
    failing: int = 0


def webhooks_of(farm: "Farm") -> QuerySet[Webhook]:
    """The farm's webhooks that were not taken away, oldest first."""
    return Webhook.objects.filter(farm_id=farm.id, ended_at__isnull=True).order_by("id")


def hook_queues(now: datetime) -> dict[UUID, HookQueue]:
    """By group, over all farms that may be seen; only groups where something waits or fails.

    A message that failed, or whose webhook is left in quiet, waits from the end of that pause: while somebody calls,
    none waits long, however many fail.
    """
    on = Webhook.objects.filter(ended_at__isnull=True, off_at__isnull=True)
    failing = on.filter(failures__gt=0).order_by().values_list("farm__group_id").annotate(Count("id"))
    waiting = WebhookDelivery.objects.filter(
        state__in=(HookState.WAITING, HookState.SENDING), webhook__ended_at__isnull=True, webhook__off_at__isnull=True
    )
    since = Greatest("next_try_at", "lease_until", "webhook__quiet_until")
    found = waiting.order_by().values_list("farm__group_id").annotate(n=Count("id"), first=Min(since))
    wait = {group: (number, oldest if oldest <= now else None) for group, number, oldest in found}
    fail = dict(failing)
    return {group: HookQueue(*wait.get(group, (0, None)), fail.get(group, 0)) for group in fail.keys() | wait.keys()}
