"""What were each farm's weeks like, its stations taken together, and how sure is each of them?"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike

from monitoring.analysis.owners import OwnerSums
from monitoring.analysis.rates import PER_ANIMAL, StationWeeks
from monitoring.analysis.shapes import Bools, Floats, Ints, Words, refuse, refuse_outside, refuse_unlike, stretched
from monitoring.analysis.week_effects import WeekEffects, week_effects

WINDOW_WEEKS = 12
WEEKS_NEEDED = 4
# Under about nine catches a farm-week the logarithms of weeks are too lopsided for any of the statements made of them.
CATCH_NEEDED = 9.0
DAYS_A_WEEK = 7.0


@dataclass(frozen=True)
class FarmWeeks:
    """The weeks of each farm (and method) on the log scale; see `farm_weeks_of` and `farm_weeks_from`.

    `effects` (n, n_weeks) -- log week effects, mean zero over the weeks used, NaN elsewhere. `noise` (n, n_weeks,
    n_weeks) -- what counting alone makes of their covariance. `when` (n, n_weeks) -- dates in weeks, counted from the
    newest used week (0), so zero or less; NaN = not used. `base` (n,) -- log of the mean rate, in the method's unit, in
    a week of effect zero, on the stations counted in the newest used week; NaN = none. `reason` (n,) -- "" where there
    are enough weeks and catches for a statement, else why not: "no_counts", "too_few_weeks" (told as "too early: 2 of 4
    weeks"), "all_zero" (nothing was caught all along), "not_comparable" (enough weeks, but too few of them share
    stations with the newest), "too_few_counts" (under nine catches a week on average). `weeks_observed` (n,) -- weeks
    with a count. `newest_counted` (n,) -- the last week of the window is among those used. `at_least` (n,) -- an
    at-least count is in the window: it enters at its bound. `dates` (n, n_weeks) -- in days.
    """

    effects: Floats
    noise: Floats
    when: Floats
    base: Floats
    reason: Words
    weeks_observed: Ints
    newest_counted: Bools
    at_least: Bools
    dates: Floats

    def __len__(self) -> int:
        return len(self.effects)

    @property
    def used(self) -> Bools:
        """(n, n_weeks) -- the weeks that a statement rests on."""
        return ~np.isnan(self.effects)

    @property
    def told(self) -> Bools:
        """(n,) -- there is enough for a statement."""
        return np.asarray(self.reason == "", np.bool_)

    @property
    def noise_of_a_week(self) -> Floats:
        """(n,) -- the mean variance that counting gives the log of one week; 0 where fewer than two weeks are used."""
        number = self.used.sum(axis=1)
        trace = np.trace(self.noise, axis1=1, axis2=2)
        return np.where(number > 1, trace / np.maximum(number - 1, 1), 0.0)

    def only(self, which: ArrayLike) -> "FarmWeeks":
        """Give some of the farms, by index or mark."""
        chosen = np.asarray(which)
        if chosen.dtype == np.bool_ and chosen.all():
            return self
        return replace(self, **{name: value[chosen] for name, value in self.__dict__.items()})

    def last(self, weeks: int) -> "FarmWeeks":
        """Give the last weeks only, fitted with the whole window; too few of them is a reason."""
        if weeks < 1:
            raise ValueError("weeks must be one at least.")
        short = replace(
            self,
            effects=self.effects[:, -weeks:],
            noise=self.noise[:, -weeks:, -weeks:],
            when=self.when[:, -weeks:],
            dates=self.dates[:, -weeks:],
            weeks_observed=(~np.isnan(self.dates[:, -weeks:])).sum(axis=1),
        )
        few = short.told & (short.used.sum(axis=1) < WEEKS_NEEDED)
        return replace(short, reason=np.where(few, "too_few_weeks", short.reason))


def farm_weeks_from(counts: Floats, days: Floats, dates: ArrayLike, k: ArrayLike) -> FarmWeeks:
    """Fit the weeks of farms given as padded arrays.

    Parameters
    ----------
    counts : (n_farms, n_stations, n_weeks) float -- catches, zero or more; NaN = no count, and padding. [individuals]
    days : (n_farms, n_stations, n_weeks) float -- days up (times the part counted; animals for leg counts), above zero
        wherever there is a count.
    dates : (n_farms, n_weeks) or (n_weeks,) float -- when each week was counted, in days (see
        `weeks.days_since_1970`); NaN only where a week has no count.
    k : number, or array that goes with counts -- negative-binomial k of a station's count; infinite = Poisson.

    Returns
    -------
    FarmWeeks -- `base` is a catch per 7 days.

    Raises ValueError, naming the argument, for what is negative, infinite or unlike in shape.

    Notes
    -----
    A missing week is not in the fit and never taken as zero; a missing station is not an average one, since its own
    effect is fitted from the weeks that it has. See `week_effects.week_effects` for zeros.

    Examples
    --------
    >>> counts = np.array([[[10.0, 20, 40, 80], [5.0, np.nan, 20, 40]]])
    >>> weeks = farm_weeks_from(counts, np.full(counts.shape, 7.0), np.arange(4) * 7.0, 1.5)
    >>> np.round(np.exp(np.diff(weeks.effects[0])), 6), float(np.round(np.exp(weeks.base[0] + weeks.effects[0, -1])))
    (array([2., 2., 2.]), 60.0)
    """
    counts, days = np.asarray(counts, np.float64), np.asarray(days, np.float64)
    fit = week_effects(counts, days, k)
    each_date = stretched(np.asarray(dates, np.float64), fit.effects.shape, "dates")
    found = ~np.isnan(counts)
    observed = np.asarray(found.any(axis=1), np.bool_)
    refuse(observed & ~np.isfinite(each_date), "dates", "must be finite numbers wherever there is a count")
    catch = np.where(found, counts, 0.0).sum(axis=(1, 2))
    base = _base_of(fit, found) + np.log(DAYS_A_WEEK)
    return _weeks(fit, base, np.where(observed, each_date, np.nan), catch, np.zeros(len(counts), np.bool_))


def farm_weeks_of(
    station_weeks: StationWeeks, owner: Ints, n_owners: int, *, newest: int, k: ArrayLike, weeks: int = WINDOW_WEEKS
) -> FarmWeeks:
    """Fit the last weeks of a grid for every owner (a farm and a method).

    Parameters
    ----------
    station_weeks : StationWeeks -- (n_stations, n_weeks).
    owner : (n_stations,) int -- whose station it is, from 0.
    n_owners : int
    newest : int -- index of the last week of the window.
    k : number or (n_owners,) -- negative-binomial k of a count on a device, or on one animal: a leg count of n animals
        has n times that k, since it is the sum of n counts.
    weeks : int -- length of the window; weeks before the grid begins are missing.

    Returns
    -------
    FarmWeeks -- (n_owners, ...). A part of a card enters as the count on that part with as much less exposure; an
    at-least count at its bound, and marks the owner.

    Notes
    -----
    Owners are fitted in groups of like numbers of stations, so that little is padded.
    """
    n_stations, n_weeks = station_weeks.rate.shape
    refuse_unlike(owner, (n_stations,), "owner")
    refuse_outside(owner, n_owners, "owner")
    refuse_outside(np.array([newest]), n_weeks, "newest")
    window = _Window(station_weeks, np.arange(newest + 1 - weeks, newest + 1))
    counted, effort = window.of("counted"), window.of("effort")
    found = ~np.isnan(counted)
    each_k = np.broadcast_to(np.asarray(k, np.float64), (n_owners,))[owner][:, None]
    legs = (station_weeks.per == PER_ANIMAL)[:, None]
    cell_k = np.where(legs & found, each_k * np.where(found, effort, 1.0), each_k)
    fit = WeekEffects(np.full((n_owners, weeks), np.nan), np.zeros((n_owners, weeks, weeks)), np.empty((0, 0)))
    base = np.full(n_owners, np.nan)
    for owners, rows in _packs(owner, n_owners):
        some = week_effects(counted[rows], effort[rows], cell_k[rows])
        fit.effects[owners], fit.noise[owners] = some.effects, some.noise
        base[owners] = _base_of(some, found[rows]) + np.log(station_weeks.per[rows[:, 0]])
    add = OwnerSums(owner, (n_owners, weeks))
    dates = _week_dates(window.of("middle"), window.of("exposure"), add)
    catch = add(np.where(found, counted, 0.0)).sum(axis=1)
    return _weeks(fit, base, dates, catch, add(window.of("at_least") > 0).sum(axis=1) > 0)


def joined(parts: Sequence[FarmWeeks]) -> FarmWeeks:
    """Put the farms of some fits over equally many weeks one after another.

    Examples
    --------
    >>> counts = np.full((2, 3, 4), 40.0)
    >>> weeks = farm_weeks_from(counts, np.full(counts.shape, 7.0), np.arange(4) * 7.0, 1.5)
    >>> len(joined([weeks, weeks]))
    4
    """
    return FarmWeeks(**{name: np.concatenate([getattr(each, name) for each in parts]) for name in parts[0].__dict__})


def padded_counts(
    station_weeks: StationWeeks, owner: Ints, n_owners: int, *, newest: int, weeks: int = WINDOW_WEEKS
) -> tuple[Floats, Floats]:
    """Give counts and exposures of the last weeks as (n_owners, n_stations, weeks), padded with NaN.

    Parameters are those of `farm_weeks_of`; n_stations is the most that any owner has.
    """
    window = _Window(station_weeks, np.arange(newest + 1 - weeks, newest + 1))
    size = np.bincount(owner, minlength=n_owners)
    counts, days = (np.full((n_owners, int(size.max(initial=0)), weeks), np.nan) for _ in range(2))
    counted, effort = window.of("counted"), window.of("effort")
    for owners, rows in _packs(owner, n_owners):
        counts[owners, : rows.shape[1]], days[owners, : rows.shape[1]] = counted[rows], effort[rows]
    return counts, days


@dataclass(frozen=True)
class _Window:
    """The columns of a grid that are looked at; weeks before the grid begins are missing."""

    station_weeks: StationWeeks
    columns: Ints

    def of(self, name: str) -> Floats:
        """Give one quantity of the grid in the window, NaN where the window lies before the grid."""
        grid = np.asarray(getattr(self.station_weeks, name), np.float64)
        return np.where(self.columns >= 0, grid[:, np.maximum(self.columns, 0)], np.nan)


def _packs(owner: Ints, n_owners: int) -> Iterator[tuple[Ints, Ints]]:
    """Give owners of equally many stations together: their indices, and (n, n_stations) indices of stations."""
    order = np.argsort(owner, kind="stable")
    size = np.bincount(owner, minlength=n_owners)
    first = np.cumsum(size) - size
    for many in np.unique(size[size > 0]):
        owners = np.flatnonzero(size == many)
        yield owners, order[first[owners][:, None] + np.arange(many)]


def _week_dates(middle: Floats, exposure: Floats, add: OwnerSums) -> Floats:
    """Give when each owner's week was counted: the mean middle day, weighted by exposure; NaN = not counted."""
    have = ~np.isnan(middle)
    weight = np.where(have, exposure, 0.0)
    total = add(weight)
    return np.where(total > 0, add(weight * np.where(have, middle, 0.0)) / np.where(total > 0, total, 1.0), np.nan)


def _base_of(fit: WeekEffects, found: Bools) -> Floats:
    """Give the log of the mean catch a day in a week of effect zero, over the stations of the newest week used."""
    n_weeks = fit.effects.shape[1]
    newest = n_weeks - 1 - np.argmax(fit.used[:, ::-1], axis=1)
    counted = found[np.arange(len(found)), :, newest]
    # A station that never caught anything is out of the fit, and in the mean with nothing.
    rate = np.where(counted & ~np.isnan(fit.stations), np.exp(np.nan_to_num(fit.stations)), 0.0)
    mean = rate.sum(axis=1) / np.maximum(counted.sum(axis=1), 1)
    return np.where(mean > 0, np.log(np.where(mean > 0, mean, 1.0)), np.nan)


def _weeks(fit: WeekEffects, base: Floats, dates: Floats, catch: Floats, at_least: Bools) -> FarmWeeks:
    observed = ~np.isnan(dates)
    newest = np.where(fit.used, dates, -np.inf).max(axis=1, initial=-np.inf)
    when = np.where(fit.used, dates - np.where(np.isfinite(newest), newest, 0.0)[:, None], np.nan) / DAYS_A_WEEK
    return FarmWeeks(
        effects=fit.effects,
        noise=fit.noise,
        when=when,
        base=base,
        reason=_reasons(observed.sum(axis=1), fit.used.sum(axis=1), catch),
        weeks_observed=observed.sum(axis=1),
        newest_counted=fit.used[:, -1],
        at_least=np.asarray(at_least, np.bool_),
        dates=dates,
    )


def _reasons(observed: Ints, used: Ints, catch: Floats) -> Words:
    """Say why nothing can be said of the weeks, "" where something can."""
    why = [
        observed == 0,
        observed < WEEKS_NEEDED,
        catch == 0,
        used < WEEKS_NEEDED,
        catch < CATCH_NEEDED * observed,
    ]
    return np.select(why, ["no_counts", "too_few_weeks", "all_zero", "not_comparable", "too_few_counts"], default="")
