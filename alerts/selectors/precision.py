"""How well the means of a farm's week are known, how unevenly they were counted, and how much more would help.

From the farm's own readings, and from nothing of other farms but the group's figures of the quarter.
"""

from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING

import numpy as np

from alerts.models import BorrowedFigures
from alerts.selectors.borrowed import KOfLegs, k_of_legs
from alerts.selectors.farm_counts import FarmCounts, counts_of_farms
from monitoring.analysis.counting_plan import (
    DEGREES_FOR_OWN,
    NONE,
    OWN,
    Scatter,
    counting_plan,
    precision_reached,
    scatter_between_devices,
    units_needed,
)
from monitoring.analysis.farm_mean import CUP, weekly_means
from monitoring.analysis.farm_weeks import WINDOW_WEEKS
from monitoring.analysis.rates import LEGS_PER_ANIMAL, parts_as_typed
from monitoring.analysis.scatter import k_by_likelihood, k_by_moments
from monitoring.analysis.shapes import Bools, Floats
from monitoring.analysis.weeks import week_index
from monitoring.analysis.zero_class import zero_class
from monitoring.arrays import flies_on_animals
from monitoring.methods import LEG, METHODS

if TYPE_CHECKING:
    from farms.models import Farm

WEEK = timedelta(weeks=1)
# The standard errors, as shares of the mean, that a plan is made for.
TO_A_QUARTER, TO_15_PERCENT = 0.25, 0.15
# As many counts as give a farm's variance its four degrees of freedom; our own choice.
COUNTS_FOR_K = DEGREES_FOR_OWN + 1
# Counts of cards up for 7 and 8 days are told as alike, of 5 and 7 not; our own choice.
ALIKE_DAYS = 1.2
GROUP, INFERRED = "group", "inferred"


@dataclass(frozen=True)
class Unevenness:
    """How unevenly the counts of one week scatter; None = can't be told.

    `k` is the negative binomial's by maximum likelihood, `k_error` its standard error, `k_by_moments` what the mean and
    variance alone give. `reason` is "" where there is a k, "no_overdispersion" where the counts are as even as chance
    allows, else why there is none. `zeros` is the share of counts of nothing at all, `zeros_expected` what the mean and
    k let expect. `counts` is how many counts that rests on.
    """

    counts: int = 0
    k: float | None = None
    k_error: float | None = None
    k_by_moments: float | None = None
    reason: str = "too_few_counts"
    zeros: float | None = None
    zeros_expected: float | None = None


@dataclass(frozen=True)
class Precision:
    """How well the mean of one method's week is known; None = can't be told.

    `devices` are the cards or traps with a count (two at one place are one), or the animals looked at. `mean` is in the
    method's unit, `mean_per_leg` a quarter of an animal's. `relative_variance` is s^2/m^2 between devices, with its
    `source`: "own" (the farm's last twelve weeks, from four degrees of freedom), "taylor" (the group's power law),
    "published" (the method's printed precision); for legs "own" (between the animals of a leg count), "group" (the k of
    the group's leg counts), "inferred" (k 1.4); "none". It is never below what chance alone gives. `reached` is the
    standard error as a share of the mean, `for_a_quarter` and `for_15_percent` the devices that would bring it to 0.25
    and 0.15. `reason` says why one is missing: "no_count", "nothing_caught", "at_least", "too_few_data", else "".
    """

    method: str
    devices: int
    mean: float | None
    mean_per_leg: float | None
    relative_variance: float | None
    source: str
    reached: float | None
    for_a_quarter: int | None
    for_15_percent: int | None
    reason: str
    unevenness: Unevenness

    @property
    def more_for_a_quarter(self) -> int:
        """How many more devices would bring the standard error to a quarter of the mean; 0 = there are enough."""
        if self.reached is None or self.for_a_quarter is None or self.reached <= TO_A_QUARTER:
            return 0
        return self.for_a_quarter - self.devices


def precision_of_farm(farm: "Farm", week: date, counts: FarmCounts | None = None) -> list[Precision]:
    """Each method that is in use on the farm in a week (its Monday), from the readings of the last twelve.

    `counts`: the farm's, of twelve weeks or more up to that week, for whoever has read them already.
    """
    first = week - (WINDOW_WEEKS - 1) * WEEK
    read = counts_of_farms([farm], first, week) if counts is None else counts.of_last(WINDOW_WEEKS)
    seen, figures = _Seen(read), read.lent
    in_use = seen.in_use_since(week)
    found = [_of_devices(seen, method, figures[method]) for method in METHODS if method in in_use - {LEG.code}]
    if LEG.code in in_use:
        flies = tuple(flies_on_animals([farm.id], since, week) for since in (first, week))
        found.append(_of_legs(seen, flies[0], flies[1], k_of_legs(farm.group, week)))
    return found


class _Seen:
    """A farm's readings by method, the judged week in the last column."""

    def __init__(self, counts: FarmCounts) -> None:
        self.arrays, self.weeks = counts.arrays, counts.weeks
        self.place = {method: place for place, method in enumerate(METHODS)}
        self.owner = np.array([self.place[method] for method in self.arrays.station_method.tolist()], np.int64)
        self.number = week_index(self.arrays.week, np.datetime64(counts.first, "D"))
        means = weekly_means(self.weeks, self.owner, len(METHODS))
        self.mean, self.stations, self.at_least = means.mean[:, -1], means.stations[:, -1], means.at_least[:, -1]
        self.scatter = scatter_between_devices(self.weeks, self.owner, len(METHODS))

    def in_use_since(self, week: date) -> set[str]:
        """The methods of the stations that stood in a week, the last one, or still stand."""
        until = self.arrays.station_until
        stands = np.isnat(until) | (until >= np.datetime64(week, "D"))
        return set(self.arrays.station_method[stands].tolist())

    def counted(self, method: str) -> Bools:
        """(n_readings,) -- this week's readings by a method that have a count."""
        arrays = self.arrays
        this_week = (self.number == WINDOW_WEEKS - 1) & ~np.isnan(arrays.count)
        return np.asarray(this_week & (self.owner[arrays.station] == self.place[method]), np.bool_)


def _of_devices(seen: _Seen, method: str, figures: BorrowedFigures | None) -> Precision:
    """Cards or traps: the farm's own scatter, else the group's law, else what is printed."""
    place = slice(seen.place[method], seen.place[method] + 1)
    own = Scatter(seen.scatter.relative_variance[place], seen.scatter.degrees[place])
    law = None if figures is None or figures.taylor_a is None else (figures.taylor_a, figures.taylor_b or 0.0)
    plan = counting_plan(own, seen.mean[place], seen.stations[place], method=method, precision=TO_A_QUARTER, taylor=law)
    return _known(seen, method, int(seen.stations[place][0]), float(plan.relative_variance[0]), str(plan.source[0]))


def _of_legs(seen: _Seen, flies: Floats, this_week: Floats, group: KOfLegs) -> Precision:
    """Leg counts: between the animals of each of the farm's own, else by the k of the group's, or the inferred one."""
    mean, moments = float(seen.mean[seen.place[LEG.code]]), k_by_moments(flies)
    can_tell = (moments.values >= 2) & (moments.mean > 0)
    degrees = (moments.values[can_tell] - 1).astype(np.float64)
    # s^2/m^2 of each leg count weighs by its degrees of freedom.
    shares = moments.variance[can_tell] / moments.mean[can_tell] ** 2
    animals = int((~np.isnan(this_week)).sum())
    if degrees.sum() >= DEGREES_FOR_OWN:
        return _known(seen, LEG.code, animals, float((shares * degrees).sum() / degrees.sum()), OWN, this_week)
    source = GROUP if group.source == OWN else INFERRED
    # s^2/m^2 = (m + m^2/k)/m^2
    by_k = 1 / mean + 1 / group.k if mean > 0 else np.nan
    return _known(seen, LEG.code, animals, by_k, source if mean > 0 else NONE, this_week)


def _known(
    seen: _Seen, method: str, devices: int, scatter: float, source: str, flies: Floats | None = None
) -> Precision:
    """What follows from a scatter: the precision reached, and the devices for others."""
    mean, at_least = float(seen.mean[seen.place[method]]), bool(seen.at_least[seen.place[method]])
    # Counts scatter as chance has it at least: s^2 is not below m.
    share = np.array([max(scatter, 1 / mean if mean > 0 else 0.0)])
    tells = mean > 0 and not at_least
    needed = units_needed(np.where(mean == 0, np.nan, share), TO_A_QUARTER)
    more = units_needed(np.where(mean == 0, np.nan, share), TO_15_PERCENT)
    return Precision(
        method=method,
        devices=devices,
        mean=_number(mean),
        mean_per_leg=_number(mean / LEGS_PER_ANIMAL) if method == LEG.code else None,
        relative_variance=_number(float(share[0])),
        source=source,
        reached=_number(float(precision_reached(share, devices)[0])) if tells else None,
        for_a_quarter=_whole(float(needed[0])),
        for_15_percent=_whole(float(more[0])),
        reason=_why_not(mean, scatter, at_least=at_least),
        unevenness=_unevenness(_alike_counts(seen, method) if flies is None else (flies[~np.isnan(flies)], "")),
    )


def _why_not(mean: float, scatter: float, *, at_least: bool) -> str:
    """Why the precision can't be told, "" where it can."""
    why = {
        "no_count": np.isnan(mean),
        "nothing_caught": mean == 0,
        "at_least": at_least,
        "too_few_data": np.isnan(scatter),
    }
    return next((reason for reason, holds in why.items() if holds), "")


def _alike_counts(seen: _Seen, method: str) -> tuple[Floats, str]:
    """This week's counts where they may be held side by side, and else why not: up for like days, none by the cup.

    A part of a card stands for the whole card in whole specks: what that adds to the scatter is little beside how
    unevenly cards catch. Nothing on a part is not yet nothing on the card.
    """
    arrays, which = seen.arrays, seen.counted(method)
    days, count, part = arrays.exposure[which], arrays.count[which], parts_as_typed(arrays.fraction[which])
    if arrays.at_least[which].any():
        return np.empty(0), "at_least"
    if (arrays.how[which] == CUP).any() or ((part < 1) & (count == 0)).any():
        return np.empty(0), "estimated"
    if days.size and days.max() > ALIKE_DAYS * days.min():
        return np.empty(0), "unlike_days"
    return np.round(count / part), ""


def _unevenness(found: tuple[Floats, str]) -> Unevenness:
    """The k of counts that may be held side by side, and their zeros beside what it lets expect."""
    counts, why_none = found
    if why_none:
        return Unevenness(reason=why_none)
    if counts.size < COUNTS_FOR_K:
        some = counts.size > 0
        nothing = float((counts == 0).mean()) if some else None
        return Unevenness(int(counts.size), zeros=nothing, reason="too_few_counts" if some else "no_counts")
    fitted, moments = k_by_likelihood(counts[None, :]), k_by_moments(counts[None, :])
    zeros = zero_class(counts[None, :], fitted.k)
    return Unevenness(
        counts=int(counts.size),
        k=_number(float(fitted.k[0])),
        k_error=_number(float(fitted.standard_error[0])),
        k_by_moments=_number(float(moments.k[0])),
        reason=str(fitted.reason[0]),
        zeros=_number(float(zeros.observed[0])),
        zeros_expected=_number(float(zeros.expected[0])),
    )


def _number(value: float) -> float | None:
    """A number that JSON and a page can tell; None for none."""
    return float(value) if np.isfinite(value) else None


def _whole(value: float) -> int | None:
    return int(value) if np.isfinite(value) else None
