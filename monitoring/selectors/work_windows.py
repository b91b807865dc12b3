"""Which counts speak of a work: from when before it, until when after it, and where nothing was done meanwhile."""

from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from uuid import UUID

from monitoring.models import Work
from monitoring.models.work import WorkKind

WEEK = timedelta(weeks=1)
LOOK_BACK, LOOK_AHEAD = 4 * WEEK, 6 * WEEK
# Flies that are on the wing live on, five days in the mean (-1/ln 0.83, published survival of untreated flies), and
# jugs follow what cards show by one to two weeks (Gerry et al. 2011, J Econ Entomol 104(3)).
SETTLES = {"card": WEEK, "trap": 2 * WEEK, "leg": WEEK}
# Wasps show after a generation of flies: 14 to 27 days at 20 to 25 degrees Celsius (published). Releases that follow
# one another within as long are one programme, told from its first day.
GENERATION = 4 * WEEK
# Rounds are a week apart: two weeks of counts and up to one until the round that brings them.
FIRST_TOLD = 3 * WEEK


@dataclass(frozen=True)
class Window:
    """What is looked at for one work and method.

    `day` is the work's (of releases of wasps the first one's). Counts from `begins` on, when what was done earlier has
    settled, speak of before; those whose middle day lies `settles` or more after the work, until `ends`, of after.
    `cut_short`: another work there ended it. `worked_elsewhere`: facilities that had work of their own meanwhile.
    """

    work: Work
    day: date
    settles: timedelta
    begins: date
    ends: date
    cut_short: bool
    worked_elsewhere: frozenset[UUID]

    @property
    def is_early(self) -> bool:
        """Whether two weeks of counts can't be there yet."""
        return not self.cut_short and self.ends < self.day + self.settles + FIRST_TOLD


@dataclass(frozen=True)
class Timeline:
    """All works of a farm by the day that each is told from: its own, or the first release of its programme."""

    days: tuple[date, ...]
    works: tuple[Work, ...]
    day_of: dict[UUID, date]

    @classmethod
    def of(cls, works: Sequence[Work]) -> "Timeline":
        """Sort the works; releases of wasps that follow one another in one place take the day of the first."""
        day_of: dict[UUID, date] = {}
        last: dict[UUID | None, Work] = {}
        for work in sorted(works, key=lambda each: each.done_on):
            before = last.get(work.facility_id) if work.kind == WorkKind.WASPS else None
            follows = before is not None and work.done_on - before.done_on <= GENERATION
            day_of[work.id] = day_of[before.id] if before is not None and follows else work.done_on
            if work.kind == WorkKind.WASPS:
                last[work.facility_id] = work
        ordered = sorted(works, key=lambda each: day_of[each.id])
        return cls(tuple(day_of[each.id] for each in ordered), tuple(ordered), day_of)

    def around(self, day: date) -> list[tuple[date, Work]]:
        """The works near enough to a day to matter to one of that day."""
        first = bisect_left(self.days, day - LOOK_BACK - GENERATION)
        last = bisect_right(self.days, day + GENERATION + LOOK_AHEAD)
        return list(zip(self.days[first:last], self.works[first:last], strict=True))


def window_of(work: Work, method: str, farm: Timeline, on: date) -> Window:
    """The window of one of a farm's works, seen from a day on which it was done or later."""
    day = farm.day_of[work.id]
    near = farm.around(day)
    settles = GENERATION if work.kind == WorkKind.WASPS else SETTLES[method]
    touching = [other_day for other_day, other in near if _touches(work, other)]
    begins = max([day - LOOK_BACK, *(earlier + SETTLES[method] for earlier in touching if earlier < day)])
    later = min((each for each in touching if each > day), default=date.max)
    ends = min(day + settles + LOOK_AHEAD, later, on)
    elsewhere = {other.facility_id for other_day, other in near if begins <= other_day < ends}
    return Window(
        work=work,
        day=day,
        settles=settles,
        begins=begins,
        ends=ends,
        cut_short=ends == later,
        worked_elsewhere=frozenset(place for place in elsewhere if place not in (None, work.facility_id)),
    )


def _touches(work: Work, other: Work) -> bool:
    """Whether another work was done where this one was, or a part of it."""
    if other.id == work.id or (other.kind == work.kind == WorkKind.WASPS and other.facility_id == work.facility_id):
        return False
    return work.facility_id is None or other.facility_id in (None, work.facility_id)
