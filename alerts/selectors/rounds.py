"""What is known of many farms' rounds on a day."""

from collections.abc import Mapping, Sequence
from datetime import date
from uuid import UUID

from alerts.rounds import Season, Walks, walks_of
from farms.selectors import seasons_of_farms
from monitoring.arrays import days_of_last_rounds, skips_of


def seasons_by_farm(farm_ids: Sequence[UUID]) -> dict[UUID, tuple[Season, ...]]:
    """Each farm's seasons, in order; one query."""
    found: dict[UUID, tuple[Season, ...]] = dict.fromkeys(farm_ids, ())
    for own, opens_on, closes_on in seasons_of_farms(farm_ids).values_list("farm_id", "opens_on", "closes_on"):
        found[own] += (Season(opens_on, closes_on),)
    return found


def walks_of_farms(seasons: Mapping[UUID, tuple[Season, ...]], day: date) -> dict[UUID, Walks]:
    """Last round and skip of each farm beside its seasons (see `seasons_by_farm`), seen from a day; two queries."""
    rounds, skips = days_of_last_rounds(list(seasons), day), skips_of(list(seasons), day)
    return {own: walks_of(spans, rounds.get(own), skips.get(own)) for own, spans in seasons.items()}
