"""When eggs laid on a farm become flies, and how often its bedding must be cleaned, by the temperatures known."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any
from uuid import UUID

import numpy as np

from farms.models import Farm
from monitoring.analysis.development import (
    DAYS_FOR_A_WEEK,
    HORIZON,
    HOUSE_FLY,
    NO_TEMPERATURES,
    STABLE_FLY,
    CleanOut,
    DateRange,
    Development,
    StageDays,
    clean_out_interval,
    flies_from_eggs,
    stage_days,
)
from monitoring.analysis.normal_temperatures import AROUND, EARLIER_YEARS, Continued, DayTemperatures, continued
from monitoring.selectors.temperatures import FarmDays, temperatures_of_farms

KINDS: dict[str, Development] = {"house_fly": HOUSE_FLY, "stable_fly": STABLE_FLY}
WEEK = 7
# How far ahead eggs may be asked for.
AHEAD = 60
READ = timedelta(days=366 * EARLIER_YEARS + AROUND)


@dataclass(frozen=True)
class DaysTold:
    """From which day to which, both included; None where there is none, for the reason that stands beside it."""

    earliest: date | None
    latest: date | None
    why_no_earliest: str = ""
    why_no_latest: str = ""


@dataclass(frozen=True)
class SpanTold:
    """So many days; None where there is none, for the reason: no_temperatures, or not_in_sight."""

    shortest: float | None
    longest: float | None
    reason: str = ""


@dataclass(frozen=True)
class WeekTold:
    """If all days were like those of a week: after how long maggots leave the bedding and flies come.

    `clean_every` is the longest interval, in whole days, at which clean-outs still come in time; None as for maggots.
    `in_heat`: the days reach 27 degrees Celsius or more in the mean.
    """

    maggots_leave: SpanTold
    flies: SpanTold
    clean_every: int | None
    seven_is_too_long: bool
    in_heat: bool


@dataclass(frozen=True)
class KindTold:
    """One kind of fly (a code of KINDS): eggs of one day, and clean-outs in the last and in the coming seven days."""

    kind: str
    maggots_leave: DaysTold
    flies: DaysTold
    last_week: WeekTold
    next_week: WeekTold


@dataclass(frozen=True)
class FarmDevelopment:
    """What the temperatures say of a farm on a day.

    `own_days` and `region_days` are how many of the last seven days were measured on the farm and in its region, the
    day itself the last; `ahead` says what stands for the days to come: earlier_years, recent_days or none.
    """

    day: date
    laid: date
    own_days: int
    region_days: int
    ahead: str
    kinds: tuple[KindTold, ...]

    @property
    def is_known(self) -> bool:
        """Whether anything can be told at all."""
        return any(one.last_week.maggots_leave.reason != NO_TEMPERATURES for one in self.kinds)

    @property
    def is_measured(self) -> bool:
        """Whether the last seven days were measured, most of them, and not only taken as usual."""
        return self.own_days + self.region_days >= DAYS_FOR_A_WEEK


def development_of_farms(farms: Sequence[Farm], day: date, laid: date | None = None) -> dict[UUID, FarmDevelopment]:
    """What is known on a day of each farm's flies to come, for eggs laid on it or on another day. Two queries.

    Days after the one asked for are not looked at, even where somebody has stored them.
    """
    known = temperatures_of_farms(farms, day - READ, day)
    laid = laid or day
    whole = continued(known.temperatures, HORIZON + AHEAD)
    told = {code: _told(kind, whole.temperatures, day, laid) for code, kind in KINDS.items()}
    return {
        farm.id: _of_farm(known, whole, int(place), day, laid, told)
        for farm, place in zip(farms, known.place, strict=True)
    }


@dataclass(frozen=True)
class _Told:
    """One kind at all places."""

    maggots_leave: DateRange
    flies: DateRange
    last_week: tuple[CleanOut, StageDays]
    next_week: tuple[CleanOut, StageDays]

    def at(self, code: str, place: int) -> KindTold:
        leave, flies = (_days(each, place) for each in (self.maggots_leave, self.flies))
        return KindTold(code, leave, flies, _week(*self.last_week, place), _week(*self.next_week, place))


def _told(kind: Development, temperatures: DayTemperatures, day: date, laid: date) -> _Told:
    today = np.datetime64(day)
    # Only the days that matter: five years of sums are slow. Of eggs before those years nothing is known.
    begin = np.datetime64(max(min(laid, day - timedelta(days=WEEK)), day - READ))
    soon = temperatures.of_days(begin, int((temperatures.day[-1] - begin).astype(np.int64)) + 1)
    eggs = flies_from_eggs(kind, soon, np.array([laid], "M8[D]"))
    weeks = [soon.of_days(each, WEEK) for each in (today - (WEEK - 1), today + 1)]
    last, coming = ((clean_out_interval(kind, each), stage_days(kind.to_adult, each)) for each in weeks)
    return _Told(eggs.maggots_leave, eggs.flies, last, coming)


def _of_farm(
    known: FarmDays, whole: Continued, place: int, day: date, laid: date, told: dict[str, _Told]
) -> FarmDevelopment:
    here = known.temperatures.is_known[place, -WEEK:]
    own = here & known.is_own[place, -WEEK:]
    return FarmDevelopment(
        day=day,
        laid=laid,
        own_days=int(own.sum()),
        region_days=int((here & ~own).sum()),
        ahead=str(whole.source[place, known.is_own.shape[1]]),
        kinds=tuple(each.at(code, place) for code, each in told.items()),
    )


def _days(found: DateRange, place: int) -> DaysTold:
    """One place's range with dates of the calendar; NaT is None."""
    earliest, latest = (_date(each[place, 0]) for each in (found.earliest, found.latest))
    return DaysTold(earliest, latest, str(found.why_no_earliest[place, 0]), str(found.why_no_latest[place, 0]))


def _date(day: Any) -> date | None:
    found: date | None = day.astype(object)
    return found


def _week(found: CleanOut, flies: StageDays, place: int) -> WeekTold:
    every = found.every[place]
    return WeekTold(
        maggots_leave=_span(found.maggots, place),
        flies=_span(flies, place),
        clean_every=None if np.isnan(every) else int(every),
        seven_is_too_long=bool(found.seven_is_too_long[place]),
        in_heat=bool(found.in_heat[place]),
    )


def _span(taken: StageDays, place: int) -> SpanTold:
    shortest, longest = (
        None if np.isnan(each[place]) else round(float(each[place]), 1) for each in (taken.shortest, taken.longest)
    )
    return SpanTold(shortest, longest, str(taken.reason[place]))
