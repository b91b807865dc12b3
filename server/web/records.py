"""What a farm has on record, season by season: how many rounds, counts, corrections, works and mails."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Any

from django.db.models import Count, Q, QuerySet

from farms.selectors import seasons_of
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


def seasons_on_record(farm: "Farm", mails: "QuerySet[Digest] | None") -> list[SeasonOnRecord]:
    """The newest seasons first; six queries, however many there are. `mails`: those that the reader may see."""
    seasons = list(seasons_of(farm)[:MOST])
    if not seasons:
        return []
    readings = arrivals_of(farm).order_by()
    counted = (
        _counts(rounds_of(farm), "walked_on", seasons),
        _counts(readings.filter(corrects_id__isnull=True), "taken_on", seasons),
        _counts(readings.filter(corrects_id__isnull=False), "taken_on", seasons),
        _counts(works_of(farm), "done_on", seasons),
        [None] * len(seasons) if mails is None else _counts(mails, "queued_at__date", seasons),
    )
    return [
        SeasonOnRecord(season.opens_on, season.closes_on, *numbers)
        for season, *numbers in zip(seasons, *counted, strict=True)
    ]


def _counts(rows: QuerySet[Any], day: str, seasons: "Sequence[Season]") -> list[int]:
    """How many rows each season holds, by the rows' day; one query."""
    told = {f"of_{at}": Count("id", filter=_within(day, season)) for at, season in enumerate(seasons)}
    found = rows.order_by().aggregate(**told)
    return [found[f"of_{at}"] for at in range(len(seasons))]


def _within(day: str, season: "Season") -> Q:
    since = Q(**{f"{day}__gte": season.opens_on})
    return since if season.closes_on is None else since & Q(**{f"{day}__lte": season.closes_on})
