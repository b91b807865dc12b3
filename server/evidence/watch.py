"""Whether the days are signed and their heads are where they belong: for the watchdog's line."""

from datetime import datetime, timedelta

from django.conf import settings

from farms.models import DailyHead, LedgerHead
from server.evidence.days import undone
from server.evidence.keys import why_not_signed

# A head is made at the first ring of its day; after a day's pause somebody should look.
LATE = timedelta(hours=26)
# How long a head may wait for its file, its mail and its time stamp.
PATIENCE = timedelta(hours=12)


def what_is_not_signed(now: datetime) -> list[str]:
    """In some words what doesn't go as it should; nothing where no key is set. One query."""
    if not settings.HEADS_KEY:
        return []
    if (why := why_not_signed()) is not None:
        return [f"no day is signed. {why}"]
    newest = DailyHead.objects.only("day", "made_at").order_by("-day").first()
    if newest is None and not LedgerHead.objects.exists():
        return []
    if newest is None or newest.made_at < now - LATE:
        return [f"no day has been signed since {newest.day}" if newest else "no day was signed yet"]
    waiting = DailyHead.objects.filter(
        undone(now, newest.day), made_at__lt=now - PATIENCE, made_at__gt=now - timedelta(days=8)
    )
    told = waiting.only("day", "error").order_by("day")[:3]
    return [f"the head of {head.day} waits: {head.error or 'nobody knows why'}" for head in told]
