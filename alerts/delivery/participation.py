"""Which rounds of a week came, in numbers a region: what a coordinator may know, and no farm by it.

Coordinators see no farm. A small region's numbers would tell of single farms, so they stand together with those of
other small regions, and where these are few even so, the group's total stands alone: beside the other regions' numbers
the few would be what remains. Whether a farm is closed to visits is not asked here: its missing round is nothing noted.
"""

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING
from uuid import UUID

from alerts.checks.rules import overdue
from alerts.models import CheckFailure, RoundsTold
from alerts.models.alert import Rule
from alerts.models.rounds_told import RoundsOf
from alerts.selectors.rounds import seasons_by_farm, walks_of_farms
from alerts.selectors.rules import rules_of_group
from farms.lookups import array_of
from farms.selectors import farms_of_group, in_season
from monitoring.arrays import days_of_last_rounds

if TYPE_CHECKING:
    from farms.models import Group

FEWEST = 5  # farms in season; our own choice, as few as region reports say a word of
SUNDAY = timedelta(days=6)


@dataclass(frozen=True)
class Participation:
    """Some farms in season: how many there are, of how many a round of the week came, how many rounds are overdue, and
    how many farms the check set aside with an error.
    """

    farms: int = 0
    came: int = 0
    overdue: int = 0
    set_aside: int = 0

    def __add__(self, other: "Participation") -> "Participation":
        return Participation(
            self.farms + other.farms,
            self.came + other.came,
            self.overdue + other.overdue,
            self.set_aside + other.set_aside,
        )


@dataclass(frozen=True)
class Told:
    """What may be told: the total, None where the group has too few farms; regions by id; the small ones together."""

    total: Participation | None
    regions: Mapping[UUID, Participation]
    smaller: Participation | None


def participation_of(group: "Group", week: date, day: date) -> dict[UUID, Participation]:
    """The week of each region (its id) that has farms in season, seen from a day after it; seven queries."""
    farms = farms_of_group(group.id).filter(in_season(week, week + SUNDAY))
    regions: dict[UUID, UUID] = dict(farms.values_list("id", "region_id"))
    came, late, failed = _came(list(regions), week), _overdue(group, list(regions), day), _failed(list(regions), week)
    found: dict[UUID, Participation] = {}
    for farm_id, region_id in regions.items():
        own = Participation(1, farm_id in came, farm_id in late, farm_id in failed)
        found[region_id] = found.get(region_id, Participation()) + own
    return found


def told_of(regions: Mapping[UUID, Participation]) -> Told:
    """What may be told of these regions, so that fewer than five farms never stand alone, nor remain as the rest."""
    total = sum(regions.values(), Participation())
    large = {region_id: own for region_id, own in regions.items() if own.farms >= FEWEST}
    smaller = sum((own for own in regions.values() if own.farms < FEWEST), Participation())
    if total.farms < FEWEST:
        return Told(None, {}, None)
    if 0 < smaller.farms < FEWEST:
        return Told(total, {}, None)
    return Told(total, large, smaller if smaller.farms else None)


def keep_told(group_id: UUID, week: date, told: Told) -> None:
    """Keep what may be told of a week, as it was first told: for the coordinator's pages, who see no farm to count."""

    def line(of: RoundsOf, own: Participation, region_id: UUID | None = None) -> RoundsTold:
        numbers = {"farms": own.farms, "came": own.came, "overdue": own.overdue}
        return RoundsTold(group_id=group_id, week=week, of=of, region_id=region_id, **numbers)

    lines = [line(RoundsOf.REGION, own, region_id) for region_id, own in told.regions.items()]
    lines += [line(RoundsOf.SMALLER, told.smaller)] if told.smaller is not None else []
    lines += [line(RoundsOf.ALL, told.total)] if told.total is not None else []
    # Of several at once the first holds: two would tell what lies between them.
    if not RoundsTold.objects.filter(group_id=group_id, week=week).exists():
        RoundsTold.objects.bulk_create(lines, ignore_conflicts=True)


def _came(farm_ids: list[UUID], week: date) -> set[UUID]:
    """Of which farms a round was walked in the week."""
    return {farm_id for farm_id, day in days_of_last_rounds(farm_ids, week + SUNDAY).items() if day >= week}


def _overdue(group: "Group", farm_ids: list[UUID], day: date) -> set[UUID]:
    days = rules_of_group(group.id, day).number(Rule.OVERDUE, "days")
    walks = walks_of_farms(seasons_by_farm(farm_ids), day)
    return {farm_id for farm_id, own in walks.items() if overdue.opens(own, day, days)}


def _failed(farm_ids: Collection[UUID], week: date) -> set[UUID]:
    unsolved = CheckFailure.objects.filter(farm_id__any_of=array_of(farm_ids), week=week, solved_at__isnull=True)
    return set(unsolved.values_list("farm_id", flat=True))
