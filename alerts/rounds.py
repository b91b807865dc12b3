"""When a farm's next round is due. Pure functions on what is known of its seasons, rounds and skips."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta

from monitoring.rules.reentry import after_kept_out

DUE_AFTER = 7  # days


@dataclass(frozen=True)
class Season:
    """From its first day to its last, which is None while it is open."""

    opens_on: date
    closes_on: date | None = None

    def holds(self, day: date) -> bool:
        return self.opens_on <= day and (self.closes_on is None or day <= self.closes_on)

    def overlaps(self, first: date, last: date) -> bool:
        return self.opens_on <= last and (self.closes_on is None or first <= self.closes_on)


@dataclass(frozen=True)
class Walks:
    """What is known of a farm's rounds on a day: its seasons, the last round, and the day named when one was skipped.

    `last_round` is the day of the last round on or before that day, a first visit that only hangs among them.
    `skipped_to` is the next round's day from a skip that no round has followed yet. `kept_out` are the days on which
    labels keep everybody out of all places that are counted.
    """

    seasons: tuple[Season, ...]
    last_round: date | None
    skipped_to: date | None = None
    kept_out: frozenset[date] = frozenset()


def walks_of(
    seasons: tuple[Season, ...],
    last_round: date | None,
    skip: tuple[date, date] | None,
    kept_out: Iterable[date] = (),
) -> Walks:
    """`skip` is (day it was noted, day named); it counts while no round was walked after the day it was noted."""
    holds = skip is not None and (last_round is None or skip[0] >= last_round)
    return Walks(seasons, last_round, skip[1] if skip is not None and holds else None, frozenset(kept_out))


def season_on(seasons: Iterable[Season], day: date) -> Season | None:
    return next((season for season in seasons if season.holds(day)), None)


def due_on(walks: Walks, day: date) -> date | None:
    """When the next round is due, seen from `day`; None out of season.

    Seven days after the last round of this season, or after its opening where there was none yet, and never before the
    day to which a round was skipped, nor on a day on which labels keep everybody out.
    """
    begun = _begun(walks, day)
    if begun is None:
        return None
    due = begun + timedelta(days=DUE_AFTER)
    return after_kept_out(max(due, walks.skipped_to) if walks.skipped_to else due, day, walks.kept_out)


def days_without(walks: Walks, day: date) -> int | None:
    """Days since the last round of the season that `day` lies in, or since it opened. None out of season."""
    begun = _begun(walks, day)
    return (day - begun).days if begun is not None else None


def _begun(walks: Walks, day: date) -> date | None:
    season = season_on(walks.seasons, day)
    if season is None:
        return None
    return max(walks.last_round, season.opens_on) if walks.last_round else season.opens_on
