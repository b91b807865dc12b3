"""What was done against flies, whatever it was: a work, an application, a programme, each from a day to a day.

Whoever adds a kind of record gives its rows as deeds by one function, as `deeds_of_works` does; what became of the
counts is then told of them as of all others.
"""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from enum import StrEnum
from typing import TYPE_CHECKING
from uuid import UUID

from monitoring.models import Work
from monitoring.models.work import WorkKind

if TYPE_CHECKING:
    from django.utils.functional import Promise

WEEK = timedelta(weeks=1)
# Wasps show after a generation of flies: 14 to 27 days at 20 to 25 degrees Celsius (published). Releases that follow
# one another within as long are one programme, told from its first day.
GENERATION = 4 * WEEK


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
    """All that was done on some farms from one day to another. One query for each kind of record."""
    return deeds_of_works(list(Work.objects.filter(farm_id__in=farm_ids, done_on__range=(since, on))))


def deeds_of_works(works: Sequence[Work]) -> list[Deed]:
    """Each work as a deed; releases of wasps that follow one another in one place are one."""
    ordered = sorted(works, key=lambda work: (work.done_on, work.id))
    found = [_deed(work) for work in ordered if work.kind != WorkKind.WASPS]
    running: dict[tuple[UUID, UUID | None], list[Work]] = {}
    for work in (work for work in ordered if work.kind == WorkKind.WASPS):
        place = (work.farm_id, work.facility_id)
        released = running.get(place)
        if released and work.done_on - released[-1].done_on <= GENERATION:
            released.append(work)
            continue
        if released:
            found.append(_programme(released))
        running[place] = [work]
    return [*found, *(_programme(released) for released in running.values())]


def _deed(work: Work) -> Deed:
    label = WorkKind(work.kind).label
    return Deed(
        work.farm_id, work.id, work.kind, label, work.done_on, work.done_on, work.facility_id, members=(work.id,)
    )


def _programme(released: Sequence[Work]) -> Deed:
    first, last = released[0], released[-1]
    return Deed(
        first.farm_id, first.id, first.kind, WorkKind(first.kind).label, first.done_on, last.done_on, first.facility_id,
        ActsOn.NEXT_GENERATION, tuple(work.id for work in released),
    )  # fmt: skip
