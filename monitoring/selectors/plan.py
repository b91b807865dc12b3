"""A farm's plan on a day, and where its stations are on it."""

from collections import defaultdict
from collections.abc import Sequence
from datetime import date
from uuid import UUID

from django.db.models import QuerySet

from farms.models import Farm
from monitoring.models import Plan, PlanPicture, Siting
from monitoring.rules.outlines import Outline, outlines_kept

Spot = tuple[float, float]


def plan_of(farm: Farm, on: date | None = None) -> Plan | None:
    """The plan that holds, or held on a day; of the time before the first one, that one."""
    plans = Plan.objects.filter(farm_id=farm.id)
    held = plans if on is None else plans.filter(since__lte=on)
    return held.order_by("-entry").first() or plans.order_by("entry").first()


def outlines_of(plan: Plan | None) -> tuple[Outline, ...]:
    """The outlines of a plan, none of none."""
    return outlines_kept(plan.outlines) if plan is not None else ()


def pictures_of(farm: Farm) -> QuerySet[PlanPicture]:
    """Every picture that lies or lay under the farm's plan."""
    return PlanPicture.objects.filter(farm_id=farm.id)


def spots_of(farm: Farm, on: date | None = None) -> dict[UUID, Spot]:
    """By station where it is on the plan, now or on a day; where it was placed later only, there. One query."""
    rows: dict[UUID, list[Siting]] = defaultdict(list)
    for siting in Siting.objects.filter(farm_id=farm.id).order_by("since", "id"):
        rows[siting.station_id].append(siting)
    found = {station_id: _spot(sitings, on) for station_id, sitings in rows.items()}
    return {station_id: spot for station_id, spot in found.items() if spot is not None}


def _spot(sitings: Sequence[Siting], on: date | None) -> Spot | None:
    known = [each for each in sitings if on is None or each.since <= on]
    if not any(each.x is not None for each in known):
        known = [each for each in sitings if each.x is not None][:1]
    last = known[-1] if known else None
    return (last.x, last.y) if last is not None and last.x is not None and last.y is not None else None
