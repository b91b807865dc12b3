"""A farm's seasons of one method: one object from which its picture, table, file and moving chart are made."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING

import numpy as np

from alerts.delivery.chart import letter_of
from alerts.selectors.season_weeks import (
    Began,
    FanWeek,
    SeasonWeek,
    fans_of,
    matters_begun,
    season_weeks_of,
)
from farms.clock import monday_of
from monitoring.analysis.season_level import weeks_to_same_week
from monitoring.methods import METHODS
from monitoring.selectors import applications_done
from monitoring.selectors.programmes import gathered

if TYPE_CHECKING:
    from alerts.models import Assessment, BorrowedFigures
    from farms.models import Farm
    from monitoring.models import Work
    from monitoring.selectors.last_done import Done
    from monitoring.selectors.programmes import Programme

WEEK = timedelta(weeks=1)
# What one picture shows of a season, and how far back the moving chart goes: five years and the year before them.
SHOWN = 30 * WEEK
KEPT = 6 * 53 * WEEK


@dataclass(frozen=True)
class Mark:
    """Work done on a day: its letter above the weeks, and what it was.

    A programme of `times` releases is one mark, from its first day `until` its last one.
    """

    day: date
    letter: str
    what: str
    until: date | None = None
    times: int = 1

    @property
    def week(self) -> date:
        return monday_of(self.day)

    @property
    def weeks(self) -> tuple[date, ...]:
        """The weeks (their Mondays) in which it goes on."""
        number = (monday_of(self.until or self.day) - self.week) // WEEK
        return tuple(self.week + WEEK * at for at in range(number + 1))


@dataclass(frozen=True)
class MethodSeasons:
    """One method over all seasons, up to the week (its Monday) `until`.

    `rows` are the judged weeks; `fan` the weeks after `until`, empty where nothing can be said of them; `began` the
    matters of this method.
    """

    method: str
    until: date
    rows: Mapping[date, SeasonWeek]
    fan: tuple[FanWeek, ...] = ()
    marks: tuple[Mark, ...] = ()
    began: tuple[Began, ...] = ()

    @property
    def first(self) -> date:
        """The first judged week of all."""
        return min(self.rows)

    @property
    def weeks(self) -> list[date]:
        """Every Monday from the first judged week to the last one."""
        return self.since(self.first)

    @property
    def of_this_season(self) -> list[date]:
        """The weeks that one picture shows: at most thirty, from the first of them that was judged."""
        held = [week for week in self.rows if week >= self.until - SHOWN]
        return self.since(min(held, default=self.until))

    @property
    def is_counted(self) -> bool:
        """Whether anything was counted in the weeks that the picture shows."""
        return any(row.mean is not None for week, row in self.rows.items() if week >= self.until - SHOWN)

    def since(self, first: date) -> list[date]:
        return [first + WEEK * at for at in range((self.until - first).days // 7 + 1)]

    def to_come(self) -> list[date]:
        return [self.until + WEEK * each.weeks for each in self.fan]

    def year_before(self, weeks: Sequence[date]) -> list[SeasonWeek | None]:
        """The same ISO weeks of the year before; a week 53 that it has not is a gap."""
        mondays = np.array(weeks, "M8[D]")
        back = weeks_to_same_week(mondays, 1).tolist() if weeks else []
        earlier = [week - WEEK * weeks_back for week, weeks_back in zip(weeks, back, strict=True)]
        same = [then.isocalendar().week == week.isocalendar().week for then, week in zip(earlier, weeks, strict=True)]
        return [self.rows.get(then) if alike else None for then, alike in zip(earlier, same, strict=True)]


def seasons_of_methods(
    farm: "Farm",
    until: date,
    results: "Mapping[str, Assessment]",
    works: "Sequence[Work]",
    known: "Iterable[BorrowedFigures | None]" = (),
) -> list[MethodSeasons]:
    """Each method that was ever judged; three queries, however many seasons. `known`: the group's figures, as read."""
    since = until - KEPT
    by_method = season_weeks_of(farm, since, until)
    fans, began = fans_of(farm, results, known), matters_begun(farm, since, until)
    marks = _marks(farm, since, until, works)
    return [
        MethodSeasons(
            method=method,
            until=until,
            rows=by_method[method],
            fan=fans.get(method, ()),
            marks=marks,
            began=tuple(each for each in began if each.method == method),
        )
        for method in METHODS
        if method in by_method
    ]


def _marks(farm: "Farm", since: date, until: date, works: "Sequence[Work]") -> tuple[Mark, ...]:
    applied = applications_done([farm.id], since, until + WEEK)
    return marks_of((work for work in works if work.done_on >= since), applied)


def marks_of(works: "Iterable[Work]", applied: "Iterable[Done]") -> tuple[Mark, ...]:
    """What was done, work and applications, the newest first: one code for the farm's page and its report."""
    marks = [_mark(each) for each in gathered(works)]
    marks += [Mark(each.done_on, letter_of(each.label), str(each.label)) for each in applied]
    return tuple(sorted(marks, key=lambda mark: mark.until or mark.day, reverse=True))


def _mark(programme: "Programme") -> Mark:
    work = programme.first
    until = programme.ends if programme.is_many else None
    return Mark(work.done_on, letter_of(work.get_kind_display()), str(work.get_kind_display()), until, programme.times)


def ends_of(row: SeasonWeek | None) -> tuple[float | None, float | None]:
    """Both ends of a week's range, or neither: where all were too many to count there is a lower end only."""
    if row is None or row.mean is None or row.low is None or row.high is None:
        return None, None
    return row.low, row.high
