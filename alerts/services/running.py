"""What the pages may ask of the worker: to try the farms that are set aside again now."""

from datetime import datetime
from typing import TYPE_CHECKING

from django.db import transaction

from alerts.models import Running

if TYPE_CHECKING:
    from farms.models import Group


@transaction.atomic
def ask_for_another_try(*, group: "Group", now: datetime) -> bool:
    """Note the wish on the group's own row, for the worker, who may touch the farms'. False: nothing is set aside."""
    waiting = Running.objects.filter(group_id=group.id, set_aside__gt=0)
    return bool(waiting.update(retry_asked_at=now))
