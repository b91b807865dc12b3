"""Stopping an address, and its person's word that it works again."""

from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING

from alerts.models import StoppedAddress
from alerts.models.stopped_address import StopReason

if TYPE_CHECKING:
    from farms.models import User


@dataclass(frozen=True)
class Failure:
    """What became of a mail to an address: why none should follow, the code that was told, and when it happened."""

    why: StopReason
    code: str
    happened_at: datetime


def stop_address(*, user: "User", failure: Failure, now: datetime) -> bool:
    """Send no more mails to a person's address. False where it is stopped already, or was said to work since then."""
    address = {"user_id": user.id, "address": user.email}
    since = StoppedAddress.objects.filter(**address, ended_at__gte=failure.happened_at)
    if since.exists() or StoppedAddress.objects.filter(**address, ended_at__isnull=True).exists():
        return False
    made = StoppedAddress(**address, why=failure.why, code=failure.code, stopped_at=now)
    # Somebody else may stop it at the same moment.
    StoppedAddress.objects.bulk_create([made], ignore_conflicts=True)
    return True


def address_works_again(*, user: "User", now: datetime) -> bool:
    """Send to a person's address again, from the next mail on. False where nothing was stopped."""
    live = StoppedAddress.objects.filter(user_id=user.id, ended_at__isnull=True)
    return bool(live.update(ended_at=now))
