"""Leg counts animal by animal, summed up: what an interval of their mean rests on."""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any
from uuid import UUID

from django.db import connections

ANIMALS = """
SELECT r.station_id, sum(cardinality(r.animals)), sum(r.count), sum(a.squares)
FROM monitoring_reading r
CROSS JOIN LATERAL (SELECT sum(flies::bigint * flies) AS squares FROM unnest(r.animals) AS flies) a
WHERE r.farm_id = ANY(%(farms)s) AND r.method = 'leg' AND r.taken_on BETWEEN %(first)s AND %(last)s
  AND r.count IS NOT NULL AND r.correction_kind <> 'withdrawn'
  AND NOT EXISTS (SELECT FROM monitoring_reading l WHERE l.farm_id = r.farm_id AND l.corrects_id = r.id)
GROUP BY r.station_id
"""


@dataclass(frozen=True)
class AnimalSums:
    """What was counted at one station in a week: animals, flies on them all, and the sum of each animal's squared."""

    animals: int
    flies: int
    squares: int


def animal_sums(farm_ids: Collection[UUID], week: date, *, using: str = "default") -> dict[UUID, AnimalSums]:
    """The leg counts of a week (its Monday) by station, as they stand now."""
    asked: dict[str, Any] = {"farms": list(farm_ids), "first": week, "last": week + timedelta(days=6)}
    with connections[using].cursor() as cursor:
        cursor.execute(ANIMALS, asked)
        return {station: AnimalSums(int(n), int(flies), int(squares)) for station, n, flies, squares in cursor}
