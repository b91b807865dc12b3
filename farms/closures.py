"""Which farms are closed to visits, and since when. Ids given by somebody come through `farms.access` first.

A row holds from its day on, over whatever was set before it for that day and later: lifting a closure that has not
begun yet undoes it, and a closure set behind a lifting closes again.
"""

from collections import defaultdict
from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import date
from uuid import UUID

from django.db.models import OuterRef, QuerySet, Subquery

from farms.lookups import array_of
from farms.models import Farm, FarmClosure, RegionClosure
from farms.models.closure import ClosureRow


@dataclass(frozen=True)
class Closure:
    """A time without visits: its first day, the day from which visits are open again where that is set, and whether
    the whole region is closed or the farm alone.
    """

    from_on: date
    open_from: date | None
    whole_region: bool

    def ends_after(self, day: date) -> bool:
        """Whether it has not ended on a day."""
        return self.open_from is None or self.open_from > day


def closed_farms(farms: "Collection[Farm | UUID]", day: date) -> set[UUID]:
    """Those of these farms (or ids of farms) that are closed to visits on a day, by themselves or with their region.

    Two queries, however many farms.
    """
    ids = array_of(each if isinstance(each, UUID) else each.id for each in farms)
    newest = FarmClosure.objects.filter(farm_id__any_of=ids, from_on__lte=day).order_by("farm_id", "-entry")
    by_farm = newest.distinct("farm_id").values_list("farm_id", "closed")
    of_region = RegionClosure.objects.filter(region_id=OuterRef("region_id"), from_on__lte=day)
    newest_of_region = Subquery(of_region.order_by("-set_at", "-id").values("closed")[:1])
    by_region = Farm.objects.filter(id__any_of=ids).annotate(region_closed=newest_of_region).filter(region_closed=True)
    return {farm_id for farm_id, closed in by_farm if closed} | set(by_region.values_list("id", flat=True))


def closure_of(farm: Farm, day: date) -> Closure | None:
    """The time without visits that holds a day, the farm's own before its region's; None where visits are open."""
    return holding(times_of_farms([farm])[farm.id], day)


def times_of_farms(farms: Collection[Farm]) -> dict[UUID, list[Closure]]:
    """Every time without visits of each of these farms, its own ones before its region's. Two queries."""
    own: dict[UUID, list[ClosureRow]] = defaultdict(list)
    of_region: dict[UUID, list[ClosureRow]] = defaultdict(list)
    for row in FarmClosure.objects.filter(farm_id__any_of=array_of(farm.id for farm in farms)).order_by("entry"):
        own[row.farm_id].append(row)
    regions = array_of({farm.region_id for farm in farms})
    for each in RegionClosure.objects.filter(region_id__any_of=regions).order_by("set_at", "id"):
        of_region[each.region_id].append(each)
    return {
        farm.id: times_closed(own[farm.id], whole_region=False)
        + times_closed(of_region[farm.region_id], whole_region=True)
        for farm in farms
    }


def closures_ahead(farm: Farm, day: date) -> list[Closure]:
    """The farm's own times without visits that have not ended on a day, in order."""
    times = times_closed(rows_of_farm(farm), whole_region=False)
    return [each for each in times if each.ends_after(day)]


def closures_ahead_of_region(region_id: UUID, day: date) -> list[Closure]:
    """The region's times without visits that have not ended on a day, in order."""
    times = times_closed(rows_of_region(region_id), whole_region=True)
    return [each for each in times if each.ends_after(day)]


def rows_of_farm(farm: Farm) -> QuerySet[FarmClosure]:
    """Everything that was set for the farm, as it was set."""
    return FarmClosure.objects.filter(farm_id=farm.id).select_related("set_by").order_by("entry")


def rows_of_region(region_id: UUID) -> QuerySet[RegionClosure]:
    """Everything that was set for a region, as it was set."""
    return RegionClosure.objects.filter(region_id=region_id).select_related("set_by").order_by("set_at", "id")


def times_closed(rows: Iterable[ClosureRow], *, whole_region: bool) -> list[Closure]:
    """The times without visits that follow from what was set, in the order in which it was set."""
    turns: list[tuple[date, bool]] = []
    for row in rows:
        turns = [turn for turn in turns if turn[0] < row.from_on]
        if (turns[-1][1] if turns else False) != row.closed:
            turns.append((row.from_on, row.closed))
    ends = [day for day, closed in turns if not closed]
    begins = [day for day, closed in turns if closed]
    return [
        Closure(begin, ends[number] if number < len(ends) else None, whole_region)
        for number, begin in enumerate(begins)
    ]


def holding(times: Collection[Closure], day: date) -> Closure | None:
    """The first of these times that holds a day."""
    return next(
        (each for each in times if each.from_on <= day and (each.open_from is None or day < each.open_from)), None
    )
