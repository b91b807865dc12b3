"""What is known of many farms' rounds on a day."""

from collections.abc import Sequence
from datetime import date
from uuid import UUID

from alerts.rounds import Season, Walks, walks_of
from farms.selectors import seasons_of_farms
from monitoring.arrays import days_of_last_rounds, skips_of


def seasons_by_farm(farm_ids: Sequence[UUID]) -> dict[UUID, tuple[Season, ...]]:
    """Each farm's seasons, in order; one query."""
    found: dict[UUID, tuple[Season, ...]] = dict.fromkeys(farm_ids, ())
    for row in seasons_of_farms(farm_ids):
        found[row.farm_id] += (Season(row.opens_on, row.closes_on),)
    return found


def walks_of_farms(farm_ids: Sequence[UUID], day: date) -> dict[UUID, Walks]:
    """Seasons, last round and skip of each farm, seen from a day; three queries."""
    seasons = seasons_by_farm(farm_ids)
    rounds, skips = days_of_last_rounds(farm_ids, day), skips_of(farm_ids, day)
    return {own: walks_of(seasons[own], rounds.get(own), skips.get(own)) for own in farm_ids}
