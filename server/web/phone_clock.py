"""The day on which a round was counted, by a clock that may be wrong: the phone's, corrected by ours."""

from collections.abc import Mapping
from datetime import date, datetime
from typing import Any

from farms.clock import local_date


def by_our_clock(moment: datetime | None, sent: datetime | None, now: datetime) -> datetime:
    """A moment of the phone's clock by ours: how far it was ahead when this request left, it was ahead then. As it is
    where the phone didn't say when it sent; now where it said nothing.
    """
    if moment is None or sent is None:
        return moment or now
    try:
        return moment - (sent - now)
    except OverflowError:  # moments at the ends of the calendar: judged by the usual rules
        return moment


def day_counted(walk: Mapping[str, Any], *, zone: str, now: datetime, stored_on: date | None) -> date:
    """The day of a round whose day was read off the phone's clock; a day that somebody typed stays as it is.

    A round that is there already keeps its day: sent once more, a second's difference at midnight must not move it.
    """
    typed: date = walk["walked_on"]
    observed, sent = walk["observed_at"], walk["sent_at"]
    if not walk["by_clock"] or observed is None or sent is None:
        return typed
    if stored_on is not None:
        return stored_on
    try:
        return local_date(by_our_clock(observed, sent, now), zone)
    except OverflowError:  # at the ends of the calendar: what was typed is judged by the usual rules
        return typed
