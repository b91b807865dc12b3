"""A programme of wasp releases is one thing: those of one plan, or those that follow one another in one place."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from uuid import UUID

from monitoring.models import Work
from monitoring.models.work import WorkKind

WEEK = timedelta(weeks=1)
# Wasps show after a generation of flies: 14 to 27 days at 20 to 25 degrees Celsius (published). Releases that follow
# one another within as long are one programme, told from its first day.
GENERATION = 4 * WEEK


@dataclass(frozen=True)
class Programme:
    """One work, or releases of wasps that belong together, oldest first."""

    works: tuple[Work, ...]

    @property
    def first(self) -> Work:
        return self.works[0]

    @property
    def last(self) -> Work:
        return self.works[-1]

    @property
    def begins(self) -> date:
        return self.first.done_on

    @property
    def ends(self) -> date:
        return self.last.done_on

    @property
    def times(self) -> int:
        return len(self.works)

    @property
    def is_many(self) -> bool:
        return self.times > 1

    @property
    def number(self) -> int:
        """How many wasps were released in all, of the releases of which that was noted."""
        return sum(work.number or 0 for work in self.works)


def gathered(works: Iterable[Work]) -> list[Programme]:
    """The works with releases of wasps gathered to programmes, by the last day of each, newest first.

    Releases in one place belong together where they are of one plan, or within a generation of flies of each other, as
    the effect of work is told.
    """
    found: list[list[Work]] = []
    open_ones: dict[UUID | None, list[Work]] = {}
    for work in sorted(works, key=lambda each: (each.done_on, each.id)):
        before = open_ones.get(work.facility_id) if work.kind == WorkKind.WASPS else None
        if before is not None and _follows(work, before[-1]):
            before.append(work)
            continue
        found.append([work])
        if work.kind == WorkKind.WASPS:
            open_ones[work.facility_id] = found[-1]
    programmes = [Programme(tuple(each)) for each in found]
    return sorted(programmes, key=lambda each: (each.ends, each.last.id), reverse=True)


def _follows(work: Work, before: Work) -> bool:
    same_plan = work.planned_id is not None and work.planned_id == before.planned_id
    return same_plan or work.done_on - before.done_on <= GENERATION
