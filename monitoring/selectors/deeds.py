"""What was done against flies, whatever it was: a work, an application, a programme, each from a day to a day.

Whoever adds a kind of record gives its rows as deeds by one function, as `deeds_of_works` does; what became of the
counts is then told of them as of all others.
"""

from collections import defaultdict
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from enum import StrEnum
from typing import TYPE_CHECKING
from uuid import UUID

from farms.clock import local_date
from farms.lookups import array_of
from monitoring.models import Application, Work
from monitoring.models.product import ON_MAGGOTS, ProductKind
from monitoring.models.work import WorkKind
from monitoring.selectors.application import standing_rows
from monitoring.selectors.programmes import GENERATION, Programme, gathered

if TYPE_CHECKING:
    from django.utils.functional import Promise

DAY, WEEK = timedelta(days=1), timedelta(weeks=1)


class ActsOn(StrEnum):
    """What a deed acts on, and so how soon counts can show it."""

    FLIES = "flies"
    MAGGOTS = "maggots"
    NEXT_GENERATION = "next_generation"


# Flies that are on the wing live on, five days in the mean (-1/ln 0.83, published survival of untreated flies), and
# jugs follow what cards show by one to two weeks (Gerry et al. 2011, J Econ Entomol 104(3)).
SETTLES = {
    ActsOn.FLIES: {"card": 0 * WEEK, "trap": WEEK, "leg": 0 * WEEK},
    ActsOn.MAGGOTS: {"card": WEEK, "trap": 2 * WEEK, "leg": WEEK},
    ActsOn.NEXT_GENERATION: dict.fromkeys(("card", "trap", "leg"), GENERATION),
}


@dataclass(frozen=True)
class Deed:
    """Something done from a day to a day, in one facility or (None) on the whole farm.

    `kind` and its `label` say what; `members` are the rows that it stands for, where they are several: the releases of
    a programme.
    """

    farm_id: UUID
    id: UUID
    kind: str
    label: "str | Promise"
    begins_on: date
    ends_on: date
    facility_id: UUID | None = None
    acts_on: ActsOn = ActsOn.MAGGOTS
    members: tuple[UUID, ...] = ()

    def settles(self, method: str) -> timedelta:
        """How long after it counts of a method can't show it yet."""
        return SETTLES[self.acts_on][method]

    @property
    def is_programme(self) -> bool:
        return self.acts_on == ActsOn.NEXT_GENERATION

    @property
    def changes_until(self) -> date:
        """The last day on which it changes what is counted by something new; a programme then goes on as it is."""
        return self.begins_on + GENERATION if self.is_programme else self.ends_on

    def touches(self, other: "Deed") -> bool:
        """Whether another one was done where this one was, or on a part of it."""
        if other.id == self.id or other.farm_id != self.farm_id:
            return False
        return self.facility_id is None or other.facility_id in (None, self.facility_id)


def deeds_of_farms(farm_ids: Collection[UUID], since: date, on: date) -> list[Deed]:
    """All that was done on some farms from one day to another, and stands. One query for each kind of record."""
    farms = array_of(farm_ids)
    works = Work.objects.standing().filter(farm_id__any_of=farms, done_on__range=(since, on))
    return deeds_of_works(list(works)) + deeds_of_applications(farm_ids, since, on)


def deeds_of_applications(farm_ids: Collection[UUID], since: date, on: date) -> list[Deed]:
    """The applications that hold, each told from its day by the farm's clock."""
    rows = standing_rows().filter(farm_id__any_of=array_of(farm_ids)).select_related("farm")
    near = rows.filter(begins_at__date__range=(since - DAY, on + DAY)).order_by("begins_at", "id")
    found = [deed_of_application(row, row.farm.time_zone) for row in near]
    return [deed for deed in found if since <= deed.begins_on <= on]


def deed_of_application(row: Application, zone: str) -> Deed:
    """An application as a deed; what is used against maggots shows as a clean-out does."""
    acts_on = ActsOn.MAGGOTS if row.kind in ON_MAGGOTS else ActsOn.FLIES
    begins, ends = local_date(row.begins_at, zone), local_date(row.ends_at, zone)
    return Deed(
        row.farm_id, row.id, row.kind, ProductKind(row.kind).label, begins, ends, row.facility_id, acts_on, (row.id,)
    )


def deeds_of_works(works: Sequence[Work]) -> list[Deed]:
    """Each work as a deed; releases of wasps that belong together are one (see `programmes.gathered`)."""
    of_farm: dict[UUID, list[Work]] = defaultdict(list)
    for work in works:
        of_farm[work.farm_id].append(work)
    return [_deed(programme) for found in of_farm.values() for programme in reversed(gathered(found))]


def _deed(programme: Programme) -> Deed:
    first = programme.first
    acts_on = ActsOn.NEXT_GENERATION if first.kind == WorkKind.WASPS else ActsOn.MAGGOTS
    return Deed(
        first.farm_id, first.id, first.kind, WorkKind(first.kind).label, programme.begins, programme.ends,
        first.facility_id, acts_on, tuple(work.id for work in programme.works),
    )  # fmt: skip
