"""How the values of a reading fit together, to its station and to the farm's days. A rule is a line in RULES."""

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass
from datetime import date
from functools import lru_cache
from typing import Any, NamedTuple

import numpy as np
from django.utils.formats import date_format
from django.utils.translation import get_language
from django.utils.translation import gettext_lazy as _
from numpy.typing import NDArray

from monitoring.methods import LEG, TRAP
from monitoring.models.reading import LEAVES_IT_UP, How
from monitoring.rules.table import MOST_OF_A_ROW, WHOLE, Columns, Fault, shown

Bools = NDArray[np.bool_]
Days = NDArray[np.datetime64]

MOST_DAYS_UP = 60
NOWHERE = -1


@dataclass(frozen=True)
class StationFacts:
    """What the rules need to know of a station."""

    id: str
    method: str
    label: str
    since: date
    until: date | None = None


@dataclass(frozen=True)
class Calendar:
    """The farm's local day, and its seasons as (opens on, closes on or None)."""

    today: date
    seasons: Sequence[tuple[date, date | None]]

    def in_season(self, days: Days) -> Bools:
        """(n,) bool -- each day lies in a season; an unknown day doesn't."""
        inside = np.zeros(days.shape, np.bool_)
        for opens, closes in self.seasons:
            inside |= (days >= np.datetime64(opens)) & (days <= np.datetime64(closes or date.max))
        return inside

    def holds(self, day: date) -> bool:
        return bool(self.in_season(np.array([day], "M8[D]"))[0])


@dataclass(frozen=True)
class Facts:
    """Columns as masks and days, one entry a reading, for readings whose station is known."""

    counted: Bools
    reasoned: Bools
    at_least: Bools
    is_part: Bools
    is_cup: Bools
    has_part: Bools
    has_animals: Bools
    sum_differs: Bools
    placed: Bools
    leg: Bools
    trap: Bools
    hung: Days
    taken: Days
    since: Days
    until: Days
    in_season: Bools
    today: np.datetime64


class Broken(NamedTuple):
    """The sentence of a broken rule, put together when it is told: of its station, hung, taken, in use since, until."""

    sentence: Any
    label: str
    days: tuple[date | None, ...]

    def __str__(self) -> str:
        text = str(self.sentence)
        names = ("hung", "taken", "since", "until")
        told = {name: day_text(day) for name, day in zip(names, self.days, strict=True) if f"{{{name}}}" in text}
        return text.format(label=self.label, **told)


@dataclass(frozen=True)
class Rule:
    """Where a reading breaks it, the column to point at, a stable code and what to do."""

    broken: Callable[[Facts], Bools]
    column: str
    code: str
    reason: Any


RULES = (
    Rule(
        lambda f: ~f.counted & ~f.reasoned,
        "count",
        "count_missing",
        _("{label} has no count. Give what was counted, or say why there is none, as lost."),
    ),
    Rule(
        lambda f: f.counted & f.reasoned,
        "count",
        "count_beside_reason",
        _("{label} has a count and a reason why there is none. Keep one of the two."),
    ),
    Rule(
        lambda f: ~f.counted & (f.at_least | f.is_part | f.is_cup | f.has_part),
        "how",
        "how_without_count",
        _("{label} has no count, so leave away how it was counted."),
    ),
    Rule(
        lambda f: f.counted & f.is_part & ~f.has_part,
        "fraction",
        "part_missing",
        _("Say which part of {label} was counted, as 0.25 for a quarter."),
    ),
    Rule(
        lambda f: f.counted & f.has_part & ~f.is_part,
        "fraction",
        "part_not_said",
        _("A part of {label} is given, so how it was counted has to be: part."),
    ),
    Rule(
        lambda f: f.counted & f.is_cup & ~f.trap,
        "how",
        "cup_only_of_traps",
        _("Only what is in a trap can be measured by the cup. Count what is on {label}."),
    ),
    Rule(
        lambda f: f.leg & f.is_part,
        "how",
        "part_of_legs",
        _("{label}: count all four legs of each animal, and give one number for each animal."),
    ),
    Rule(
        lambda f: f.leg & f.counted & ~f.has_animals,
        "animals",
        "animals_missing",
        _("{label} needs the flies on each animal: one whole number for each animal, all four legs together."),
    ),
    Rule(
        lambda f: ~f.leg & f.has_animals,
        "animals",
        "animals_only_on_legs",
        _("{label} isn't a leg count, so leave away the numbers for each animal."),
    ),
    Rule(
        lambda f: f.leg & f.has_animals & f.sum_differs,
        "count",
        "animals_differ",
        _("The count of {label} isn't the sum of the numbers for each animal. Leave the count away, or correct them."),
    ),
    Rule(
        lambda f: f.leg & (~np.isnat(f.hung) | f.placed),
        "hung_on",
        "legs_do_not_hang",
        _("{label} is counted on one day: leave away the day when something was hung."),
    ),
    Rule(
        lambda f: ~f.leg & f.counted & np.isnat(f.hung),
        "hung_on",
        "hung_missing",
        _("Nothing is known to hang at {label}. Give the day when it was hung."),
    ),
    Rule(
        lambda f: f.hung >= f.taken,
        "hung_on",
        "taken_before_hung",
        _("{label} was taken down on {taken} and hung on {hung}: it has to hang for a day at least. Correct one."),
    ),
    Rule(
        lambda f: f.taken - f.hung > np.timedelta64(MOST_DAYS_UP, "D"),
        "hung_on",
        "too_long_up",
        _("{label} would have hung from {hung} to {taken}, more than 60 days. Correct one of the days."),
    ),
    Rule(
        lambda f: f.taken > f.today,
        "taken_on",
        "future_date",
        _("{taken} is still to come on this farm. Correct the day."),
    ),
    Rule(
        lambda f: ~f.in_season & (f.taken <= f.today),
        "taken_on",
        "closed_season",
        _("No season of this farm holds {taken}. Correct the day, or ask the owner or the adviser to open a season."),
    ),
    Rule(
        lambda f: np.fmin(f.hung, f.taken) < f.since,
        "taken_on",
        "station_not_yet",
        _("{label} is in use from {since} on only. Correct the day or the station."),
    ),
    Rule(
        lambda f: f.taken > f.until,
        "taken_on",
        "station_no_longer",
        _("{label} was in use until {until} only. Correct the day or the station."),
    ),
)


def broken_rules(
    columns: Columns,
    at: Sequence[int],
    stations: Sequence[StationFacts],
    calendar: Calendar,
    *,
    skip: Collection[int] = (),
) -> list[Fault]:
    """The first rules that each reading breaks, three at most; of those at the places to skip (known to be wrong) none.

    `at` (n,) is each reading's station as an index into `stations`; NOWHERE (-1) where the farm has no such station.
    """
    index = np.asarray(at, np.int64)
    faults = [_unknown_station(columns, int(place)) for place in np.flatnonzero(index == NOWHERE) if place not in skip]
    judged = index != NOWHERE
    judged[list(skip)] = False
    if not stations or not judged.any():
        return faults
    facts = _facts(columns, index, stations, calendar)
    named = np.zeros(len(columns), np.int64)
    for rule in RULES:
        broken = rule.broken(facts) & judged & (named < MOST_OF_A_ROW)
        named += broken
        places = np.flatnonzero(broken).tolist()
        faults += [_fault(rule, columns, place, stations[at[place]]) for place in places]
    return faults


def _facts(columns: Columns, index: NDArray[np.int64], stations: Sequence[StationFacts], calendar: Calendar) -> Facts:
    method = np.array([station.method for station in stations])[index]
    since = np.array([station.since for station in stations], "M8[D]")[index]
    until = np.array([station.until or date.max for station in stations], "M8[D]")[index]
    taken = days(columns.taken_on)
    has_animals = _other_than(columns.animals, usual=None)
    sum_differs = np.zeros(len(columns), np.bool_)
    for place in np.flatnonzero(has_animals).tolist():
        sum_differs[place] = sum(columns.animals[place] or ()) != columns.count[place]
    return Facts(
        counted=_other_than(columns.count, usual=None),
        reasoned=_other_than(columns.reason, usual=""),
        at_least=_other_than(columns.at_least, usual=False),
        is_part=~_other_than(columns.how, usual=How.PART.value),
        is_cup=~_other_than(columns.how, usual=How.CUP.value),
        has_part=_other_than(columns.fraction, usual=WHOLE),
        has_animals=has_animals,
        sum_differs=sum_differs,
        placed=_other_than(columns.placement, usual=None),
        leg=method == LEG.code,
        trap=method == TRAP.code,
        hung=days(columns.hung_on),
        taken=taken,
        since=since,
        until=until,
        in_season=calendar.in_season(taken),
        today=np.datetime64(calendar.today),
    )


def _other_than(values: list[Any], *, usual: Any) -> Bools:
    """(n,) bool -- where a value isn't the usual one. Mostly all are, or none is, which counting tells soonest."""
    number = values.count(usual)
    if number in (0, len(values)):
        return np.full(len(values), number == 0)
    return np.fromiter((value != usual for value in values), np.bool_, len(values))


def days(values: Sequence[date | None]) -> Days:
    """(n,) datetime64[D], NaT where no day is given."""
    # NumPy converts a date in half a microsecond, a number in a twentieth: each different day is converted once.
    known = {value: np.datetime64(value, "D").astype(np.int64) for value in set(values)}
    return np.array([known[value] for value in values], np.int64).view("M8[D]")


def _unknown_station(columns: Columns, place: int) -> Fault:
    name = columns.station[place]
    reason = _("This farm has no such station. Check its number, or ask the owner or the adviser to add it.")
    text = f"{name[0]} {name[1]}" if isinstance(name, tuple) else name
    return Fault(place, "station", "unknown_station", str(reason), shown(text))


def _fault(rule: Rule, columns: Columns, place: int, station: StationFacts) -> Fault:
    days_of_it = (columns.hung_on[place], columns.taken_on[place], station.since, station.until)
    reason = Broken(rule.reason, station.label, days_of_it)
    return Fault(place, rule.column, rule.code, reason, getattr(columns, rule.column)[place])


def day_text(day: date | None) -> str:
    """A day as it is written in the reader's language; nothing for none."""
    return "" if day is None else _day_in(day, get_language())


@lru_cache(maxsize=4096)
def _day_in(day: date, _language: str | None) -> str:
    """Written once for each language: Django takes longer for it than for the rest of a row."""
    return date_format(day)


def leaves_it_up(reason: str) -> bool:
    """Whether a reading with this reason ("" for a count) leaves the card or trap where it hangs."""
    return reason in LEAVES_IT_UP
