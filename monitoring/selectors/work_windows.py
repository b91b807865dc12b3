"""Which counts speak of a deed: from when before it, until when after it, and where nothing was done meanwhile."""

from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from uuid import UUID

from monitoring.selectors.deeds import WEEK, Deed
from monitoring.selectors.programmes import GENERATION

LOOK_BACK, LOOK_AHEAD = 4 * WEEK, 4 * WEEK
# Rounds are a week apart: two weeks of counts and up to one until the round that brings them.
FIRST_TOLD = 3 * WEEK
# Deeds of one place with less between them than a week to settle and two weeks of counts can't be told apart. What
# was done within two weeks can be told as one.
APART, AS_ONE = 3 * WEEK, 2 * WEEK


@dataclass(frozen=True)
class Window:
    """What is looked at for one deed and method.

    Counts from `begins` until `day`, when what was done earlier has settled, speak of before; those whose middle day
    lies `settles` or more after `last`, until `ends`, of after. `cut_short`: another deed there ended it.
    `worked_elsewhere`: facilities where something was done meanwhile. `together`: what can't be told apart from it;
    where that is `joint` too, the window is that of all of them at once.
    """

    deed: Deed
    day: date
    last: date
    settles: timedelta
    begins: date
    ends: date
    cut_short: bool
    worked_elsewhere: frozenset[UUID]
    together: tuple[Deed, ...] = ()
    joint: bool = False

    @property
    def is_early(self) -> bool:
        """Whether two weeks of counts can't be there yet."""
        return not self.cut_short and self.ends < self.last + self.settles + FIRST_TOLD


@dataclass(frozen=True)
class Timeline:
    """All deeds of a farm by their first day."""

    days: tuple[date, ...]
    deeds: tuple[Deed, ...]

    @classmethod
    def of(cls, deeds: Sequence[Deed]) -> "Timeline":
        ordered = sorted(deeds, key=lambda each: (each.begins_on, each.id))
        return cls(tuple(each.begins_on for each in ordered), tuple(ordered))

    def around(self, deed: Deed) -> list[Deed]:
        """What is near enough to matter, the deed itself among it."""
        first = bisect_left(self.days, deed.begins_on - LOOK_BACK - 2 * GENERATION)
        last = bisect_right(self.days, deed.changes_until + GENERATION + LOOK_AHEAD)
        return list(self.deeds[first:last])


def window_of(deed: Deed, method: str, farm: Timeline, on: date) -> Window:
    """The window of one of a farm's deeds, seen from a day on which it was done or later."""
    near = [each for each in farm.around(deed) if each.begins_on <= on]
    together = _not_apart(deed, near)
    joint = bool(together) and _as_one((deed, *together))
    told = (deed, *together) if joint else (deed,)
    day, last = min(each.begins_on for each in told), max(_done_by(each) for each in told)
    settles = max(each.settles(method) for each in told)
    touching = [each for each in near if each not in told and any(one.touches(each) for one in told)]
    begins = max(
        [day - LOOK_BACK, *(each.changes_until + each.settles(method) for each in touching if each.begins_on < day)]
    )
    later = min((each.begins_on for each in touching if each.begins_on > last), default=date.max)
    ends = min(last + settles + LOOK_AHEAD, later, on)
    here = {each.facility_id for each in told}
    meanwhile = [each for each in near if each.begins_on < ends and each.changes_until + WEEK > begins]
    elsewhere = frozenset(each.facility_id for each in meanwhile if each.facility_id is not None) - here
    return Window(deed, day, last, settles, begins, ends, ends == later, elsewhere, together, joint)


def _done_by(deed: Deed) -> date:
    """The day that counts after it are reckoned from: a programme's first, since a generation is waited for."""
    return deed.begins_on if deed.is_programme else deed.ends_on


def _not_apart(deed: Deed, near: Sequence[Deed]) -> tuple[Deed, ...]:
    """What lies so near to it in one place, by itself or by others between them, that counts can't tell them apart."""
    found, asked = [deed], [deed]
    while asked:
        one = asked.pop()
        close = [each for each in near if each not in found and one.touches(each) and _between(one, each) < APART]
        found += close
        asked += close
    return tuple(sorted(found[1:], key=lambda each: (each.begins_on, each.id)))


def _between(one: Deed, other: Deed) -> timedelta:
    first, second = sorted((one, other), key=lambda each: each.begins_on)
    return second.begins_on - first.changes_until


def _as_one(deeds: Sequence[Deed]) -> bool:
    """Whether they can be told as one: all in one place, soon after each other, and none of them a programme."""
    days = [day for each in deeds for day in (each.begins_on, each.ends_on)]
    places = {each.facility_id for each in deeds}
    return len(places) == 1 and max(days) - min(days) <= AS_ONE and not any(each.is_programme for each in deeds)
