"""Telling an outside watchdog at each bell that all counts match. When one does not, it hears nothing and raises alarm.

So it also notices what no alarm of ours could tell: a machine that is gone, a beat or a worker that hangs.
"""

import logging
from collections.abc import Callable, Sequence
from datetime import datetime, timedelta

import httpx
from django.conf import settings

from alerts.models import Running
from alerts.selectors.running import Allowed, Kind, Off, last_ring, what_is_off
from alerts.set_address import why_not_called
from server.evidence.watch import what_is_not_signed

PATIENCE = 10.0  # seconds
logger = logging.getLogger(__name__)


def allowed() -> Allowed:
    """The ages that the settings allow."""
    hours = settings.WATCHDOG_HOURS
    return Allowed(
        check=timedelta(hours=hours["check"]),
        mail=timedelta(hours=hours["mail"]),
        imports=timedelta(hours=hours["import"]),
    )


def tell(rows: Sequence[Running], now: datetime) -> bool:
    """Ping the watchdog if nothing is off in these rows, else write down in one line what is. Whether it was pinged."""
    if not settings.WATCHDOG_URL:
        return False
    off = in_one_line(what_is_off(rows, last_ring(), allowed(), now), now) + what_is_not_signed(now)
    if off:
        logger.error("The watchdog is not pinged: %s", "; ".join(off))
        return False
    return ping()


def ping() -> bool:
    """One GET. Only 2xx counts; a redirect is followed nowhere, since it would tell the secret address to others."""
    if (why := why_not_called("WATCHDOG")) is not None:
        logger.error("The watchdog is not pinged: %s", why)
        return False
    try:
        with httpx.stream("GET", settings.WATCHDOG_URL, timeout=PATIENCE, follow_redirects=False) as answer:
            heard = answer.is_success
            logger.log(logging.DEBUG if heard else logging.WARNING, "The watchdog answered %s", answer.status_code)
    except httpx.HTTPError as error:
        # Not what it says: that may hold the address.
        logger.warning("The watchdog could not be reached: %s", type(error).__name__)
        return False
    return heard


SENTENCES: dict[Kind, Callable[[Off, str], str]] = {
    Kind.NO_BELL: lambda off, age: f"the bell of beat was last heard {age}",
    Kind.CHECK_LATE: lambda off, age: f"a week of group {off.group_id} is due {age} and not judged",
    Kind.NOT_JUDGED: lambda off, age: (
        f"of group {off.group_id} {off.found} of {off.wanted} farms are judged or set aside"
    ),
    Kind.NOT_WRITTEN: lambda off, age: (
        f"of group {off.group_id} the mails of {off.found} of {off.wanted} farms are written"
    ),
    Kind.MAIL_WAITS: lambda off, age: f"of group {off.group_id} {off.found} mails wait, the oldest {age}",
    Kind.IMPORT_WAITS: lambda off, age: f"of group {off.group_id} {off.found} imports wait, the oldest {age}",
}


def in_one_line(off: Sequence[Off], now: datetime) -> list[str]:
    """What is off, each in some words for the log: counts of a group, nothing of a farm."""
    return [SENTENCES[each.kind](each, _age(each.since, now)) for each in off]


def _age(since: datetime | None, now: datetime) -> str:
    return "never" if since is None else f"since {int((now - since).total_seconds() // 60)} min"
