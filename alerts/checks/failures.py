"""A farm that could not be judged, or whose mail could not be written: set aside with its error, tried again later."""

import logging
from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING

from alerts.models import CheckFailure

if TYPE_CHECKING:
    from farms.models import Farm

RETRY_AFTER = timedelta(hours=1)
logger = logging.getLogger(__name__)


def set_aside(farm: "Farm", week: date, error: Exception, now: datetime) -> None:
    """Store why a farm's week failed and when it is tried again."""
    logger.warning("farm %s: the check of week %s failed", farm.id, week, exc_info=error)
    failure = CheckFailure(
        farm_id=farm.id, week=week, error=f"{type(error).__name__}: {error}", failed_at=now, retry_at=now + RETRY_AFTER
    )
    CheckFailure.objects.bulk_create(
        [failure], update_conflicts=True, unique_fields=["farm", "week"],
        update_fields=["error", "failed_at", "retry_at", "solved_at"],
    )  # fmt: skip
