"""What a mail service reports of mails that it took: some of it stops an address."""

from datetime import datetime
from typing import Any

from alerts.delivery.refusals import stop_for
from alerts.services.stopped_address import Failure, stop_address
from farms.selectors import user_by_address


def take_event(event: Any, now: datetime) -> bool:
    """Act on one of anymail's tracking events; whether it stopped an address. What isn't of ours is left alone."""
    found = stop_for(event)
    user = user_by_address(event.recipient) if found and event.recipient else None
    if found is None or user is None:
        return False
    why, code = found
    return stop_address(user=user, failure=Failure(why, code, event.timestamp or now), now=now)
