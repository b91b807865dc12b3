"""Round overdue: in season, nobody has walked the farm for ten days, though a round is due after seven."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta

DUE_AFTER = 7  # days
OVERDUE_AFTER = 10  # days


@dataclass(frozen=True)
class Season:
    """From its first day to its last, which is None while it is open."""

    opens_on: date
    closes_on: date | None = None

    def holds(self, day: date) -> bool:
        return self.opens_on <= day and (self.closes_on is None or day <= self.closes_on)


@dataclass(frozen=True)
class Walks:
    """What is known of a farm's rounds on a day: its seasons, the last round, and the day named when one was skipped.

    `last_round` is the day of the last round on or before that day, a first visit that only hangs among them.
    `skipped_to` is the next round's day from a skip noted on or before that day and after the last round.
    """

    seasons: tuple[Season, ...]
    last_round: date | None
    skipped_to: date | None = None


def season_on(seasons: Iterable[Season], day: date) -> Season | None:
    return next((season for season in seasons if season.holds(day)), None)


def due_on(walks: Walks, day: date) -> date | None:
    """When the next round is due, seen from `day`: seven days after the last one of this season, or after the season's
    opening where there was none yet, and never before the day to which a round was skipped. None out of season.
    """
    season = season_on(walks.seasons, day)
    if season is None:
        return None
    begun = max(filter(None, (walks.last_round, season.opens_on)))
    due = begun + timedelta(days=DUE_AFTER)
    return max(due, walks.skipped_to) if walks.skipped_to else due


def days_without(walks: Walks, day: date) -> int | None:
    """Days since the last round of the season that `day` lies in, or since it opened. None out of season."""
    season = season_on(walks.seasons, day)
    return (day - max(filter(None, (walks.last_round, season.opens_on)))).days if season else None


def opens(walks: Walks, day: date) -> bool:
    """Whether the round that was due is overdue: three days late, so ten days after the last where none was skipped."""
    due = due_on(walks, day)
    return due is not None and day >= due + timedelta(days=OVERDUE_AFTER - DUE_AFTER)
