"""Which rounds came, as it was told on each Monday: of five farms or more, and of no farm."""

from collections.abc import Sequence
from datetime import date
from uuid import UUID

from django.db.models import Max, Sum

from alerts.models import RoundsTold
from alerts.models.rounds_told import RoundsOf

NEVER_MORE, NEVER_LESS = 0.9, 0.1


def newest_rounds_told(group_id: UUID) -> Sequence[RoundsTold]:
    """The lines of the newest week of which some were told. Two queries."""
    own = RoundsTold.objects.filter(group_id=group_id)
    week = own.aggregate(newest=Max("week"))["newest"]
    return list(own.filter(week=week)) if week else []


def share_of_rounds(region_id: UUID, first: date, last: date) -> float | None:
    """Of a region's rounds due in some weeks, the share that came, to tens of per cent; None where none may be told.

    Never more than nine in ten nor fewer than one: "all" would tell of every farm.
    """
    told = RoundsTold.objects.filter(region_id=region_id, of=RoundsOf.REGION, week__range=(first, last))
    sums = told.aggregate(farms=Sum("farms"), came=Sum("came"))
    if not sums["farms"]:
        return None
    share = float(sums["came"]) / float(sums["farms"])
    return min(max(round(share, 1), NEVER_LESS), NEVER_MORE)
