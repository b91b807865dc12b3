"""What is known of many farms' rounds on a day."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time
from typing import TYPE_CHECKING
from uuid import UUID
from zoneinfo import ZoneInfo

from alerts.rounds import Season, Walks, due_on, season_on, walks_of
from farms.clock import local_date
from farms.selectors import seasons_of_farms
from monitoring.arrays import days_of_last_rounds, skips_of
from monitoring.selectors import days_kept_out, rounds_last_noted

if TYPE_CHECKING:
    from farms.models import Farm


@dataclass(frozen=True)
class RoundDue:
    """A farm's next round: its day, and the moment since which nothing was noted that could have moved it."""

    farm: "Farm"
    day: date
    noted_at: datetime


def seasons_by_farm(farm_ids: Sequence[UUID]) -> dict[UUID, tuple[Season, ...]]:
    """Each farm's seasons, in order; one query."""
    found: dict[UUID, tuple[Season, ...]] = dict.fromkeys(farm_ids, ())
    for own, opens_on, closes_on in seasons_of_farms(farm_ids).values_list("farm_id", "opens_on", "closes_on"):
        found[own] += (Season(opens_on, closes_on),)
    return found


def walks_of_farms(seasons: Mapping[UUID, tuple[Season, ...]], day: date) -> dict[UUID, Walks]:
    """What is known of each farm's rounds beside its seasons (see `seasons_by_farm`), seen from a day; four queries at
    most.
    """
    rounds, skips = days_of_last_rounds(list(seasons), day), skips_of(list(seasons), day)
    kept_out = days_kept_out(list(seasons), day)
    return {
        own: walks_of(spans, rounds.get(own), skips.get(own), kept_out.get(own, ())) for own, spans in seasons.items()
    }


def rounds_due(farms: Sequence["Farm"], now: datetime) -> list[RoundDue]:
    """When each farm's next round is due, in the order given. Farms out of season have none, nor has the season's end.

    Each farm is seen from its own day, so from two days at a time, or three. Three queries, and at most four for each
    day, however many farms.
    """
    days = {farm.id: local_date(now, farm.time_zone) for farm in farms}
    seasons, noted = seasons_by_farm(list(days)), rounds_last_noted(list(days))
    walks: dict[UUID, Walks] = {}
    for day in set(days.values()):
        walks |= walks_of_farms({own: spans for own, spans in seasons.items() if days[own] == day}, day)
    found = (_round_due(farm, walks[farm.id], days[farm.id], noted.get(farm.id)) for farm in farms)
    return [due for due in found if due is not None]


def _round_due(farm: "Farm", walks: Walks, today: date, noted: datetime | None) -> RoundDue | None:
    season, due = season_on(walks.seasons, today), due_on(walks, today)
    if season is None or due is None or not season.holds(due):
        return None
    opened = datetime.combine(season.opens_on, time(), ZoneInfo(farm.time_zone))
    return RoundDue(farm, due, max(opened, noted or opened))
