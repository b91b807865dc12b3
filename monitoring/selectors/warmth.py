"""The days of a farm with the warmth that they added for each kind of fly."""

from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING

import numpy as np

from monitoring.analysis.degree_days import by_sine
from monitoring.analysis.development import HOUSE_FLY, STABLE_FLY, Line
from monitoring.selectors.temperatures import temperatures_of_farms

if TYPE_CHECKING:
    from farms.models import Farm
    from monitoring.analysis.shapes import Floats

# Each kind by the line that is told with its threshold and degree-days: what is published or, of house flies, our own.
LINES: dict[str, Line] = {"house_fly": HOUSE_FLY.to_adult[0], "stable_fly": STABLE_FLY.to_adult[0]}


@dataclass(frozen=True)
class KindWarmth:
    """One kind of fly: its threshold [C], how many degree-days make a fly of an egg, and each day's sum so far.

    `sums` (n_days,) have None on a day that is not known, and go on after it without it: a lower bound from there on.
    """

    kind: str
    threshold: float
    to_fly: float
    sums: tuple[float | None, ...]


@dataclass(frozen=True)
class Warmth:
    """Days in a row from `first` on, a value or None each, whether they are the farm's own, and what came together."""

    first: date
    lowest: tuple[float | None, ...]
    highest: tuple[float | None, ...]
    is_own: tuple[bool, ...]
    kinds: tuple[KindWarmth, ...]

    @property
    def days(self) -> list[date]:
        return [self.first + timedelta(days=at) for at in range(len(self.lowest))]

    @property
    def known(self) -> int:
        """How many days are known."""
        return sum(low is not None for low in self.lowest)


def warmth_of_farm(farm: "Farm", first: date, last: date) -> Warmth | None:
    """The days from the first known one on; None where none is known. Two queries."""
    found = temperatures_of_farms([farm], first, last)
    place = int(found.place[0])
    known = found.temperatures.is_known[place]
    if not known.any():
        return None
    days = slice(int(known.argmax()), None)
    low, high = found.temperatures.lowest[place, days], found.temperatures.highest[place, days]
    return Warmth(
        first=first + timedelta(days=int(known.argmax())),
        lowest=_values(low),
        highest=_values(high),
        is_own=tuple(found.is_own[place, days].tolist()),
        kinds=tuple(_added(kind, line, low, high) for kind, line in LINES.items()),
    )


def _added(kind: str, line: Line, low: "Floats", high: "Floats") -> KindWarmth:
    day = by_sine(low, high, line.phase.threshold, line.fastest)
    sums = np.where(np.isnan(day), np.nan, np.cumsum(np.nan_to_num(day)))
    return KindWarmth(kind, line.phase.threshold, line.phase.degree_days, _values(sums))


def _values(row: "Floats") -> tuple[float | None, ...]:
    return tuple(None if np.isnan(value) else float(value) for value in row)
