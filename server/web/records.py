"""What a farm has on record, season by season: how many rounds, counts, corrections, works and mails."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Any

from django.db.models import Count, QuerySet

from monitoring.selectors import arrivals_of, rounds_of, works_of

if TYPE_CHECKING:
    from alerts.models import Digest
    from farms.models import Farm, Season

MOST = 6


@dataclass(frozen=True)
class SeasonOnRecord:
    """One season in numbers; `until` is None while it is open."""

    since: date
    until: date | None
    rounds: int
    readings: int
    corrections: int
    works: int
    mails: int | None


def seasons_on_record(
    farm: "Farm", seasons: "Sequence[Season]", mails: "QuerySet[Digest] | None"
) -> list[SeasonOnRecord]:
    """The newest of these seasons (newest first); five queries at most. `mails`: those that the reader may see."""
    if not seasons:
        return []
    rounds, works = _by_day(rounds_of(farm), "walked_on"), _by_day(works_of(farm), "done_on")
    readings = arrivals_of(farm).order_by()
    counts, corrections = (_by_day(readings.filter(corrects_id__isnull=firsts), "taken_on") for firsts in (True, False))
    sent = None if mails is None else _by_day(mails, "queued_at__date")
    counted = (rounds, counts, corrections, works)
    return [
        SeasonOnRecord(
            season.opens_on,
            season.closes_on,
            *(_within(season, days) for days in counted),
            mails=None if sent is None else _within(season, sent),
        )
        for season in seasons[:MOST]
    ]


def _by_day(rows: QuerySet[Any], day: str) -> list[tuple[date, int]]:
    """How many rows each day has; one query."""
    return list(rows.order_by().values_list(day).annotate(Count("id")))


def _within(season: "Season", days: list[tuple[date, int]]) -> int:
    """How many of these lie in a season."""
    return sum(number for day, number in days if season.opens_on <= day <= (season.closes_on or date.max))
