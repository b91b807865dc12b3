"""Are the flies on the way up, how fast, and how sure is that?"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from scipy import special

from monitoring.analysis.owners import OwnerSums
from monitoring.analysis.rates import StationWeeks
from monitoring.analysis.shapes import Bools, Floats, Ints, Words, refuse, refuse_outside, refuse_unlike
from monitoring.analysis.week_effects import week_effects

WINDOW_WEEKS = 8
WEEKS_NEEDED = 5
DAYS_A_WEEK = 7.0
# Log effects agree to about 1e-9; residuals and slopes below this are rounding, not scatter.
ROUNDING = 1e-8


@dataclass(frozen=True)
class Trends:
    """The log-linear trend of each farm; arrays are (n_farms,) unless said otherwise.

    `slope` is the growth of the log rate per 7 days (exp(slope) - 1 is the growth a week), `standard_error` its
    standard error, `degrees` the degrees of freedom (weeks - 2), `p_value` two-sided; all NaN (degrees 0) where
    `reason` is not "". `reason` is "" (fitted), "no_counts", "too_few_weeks" (told as "too early: 2 of 5 weeks"),
    "all_zero" (nothing was caught all along) or "not_comparable" (enough weeks, but too few of them share stations
    with the newest). `weeks_observed` counts the weeks with a count, `weeks_used` those in the line. `at_least` marks
    farms with an at-least count in the window: it enters at its bound, so a rise may be steeper. `week_effects` and
    `dates` are (n_farms, n_weeks): the points of the line.
    """

    slope: Floats
    standard_error: Floats
    degrees: Ints
    p_value: Floats
    reason: Words
    weeks_observed: Ints
    weeks_used: Ints
    at_least: Bools
    week_effects: Floats
    dates: Floats

    def interval(self, level: float = 0.95) -> "SlopeInterval":
        """Give the interval of each slope, per 7 days; NaN where there is no slope."""
        if not 0 < level < 1:
            raise ValueError("level must be above 0 and below 1.")
        reach = special.stdtrit(np.maximum(self.degrees, 1).astype(np.float64), (1 + level) / 2) * self.standard_error
        return SlopeInterval(self.slope - reach, self.slope + reach)


@dataclass(frozen=True)
class SlopeInterval:
    """The ends of the slopes' intervals, (n_farms,), log growth per 7 days."""

    low: Floats
    high: Floats


def fit_trends(counts: Floats, days: Floats, dates: Floats) -> Trends:
    """Fit the trend of every farm at once: week effects first, then a line through them.

    Parameters
    ----------
    counts : (n_farms, n_stations, n_weeks) float -- catches, zero or more; NaN = no count, and padding. [individuals]
    days : (n_farms, n_stations, n_weeks) float -- days up (times the part counted; animals for leg counts), above zero
        wherever there is a count.
    dates : (n_farms, n_weeks) or (n_weeks,) float -- when each week was counted, in days (see `week_dates`); NaN only
        where a week has no count.

    Returns
    -------
    Trends

    Raises ValueError, naming the argument, for what is negative, infinite or unlike in shape.

    Notes
    -----
    Stage one is `week_effects.week_effects`: a Poisson fit with a factor for station and one for week, half a count
    for a week of zeros. Stage two is least squares of the week effects on the date, t on weeks - 2. Weather moves all
    stations of a farm together; so the weeks, not the counts, are what varies, and the scatter of weeks about the line
    is what the interval rests on. Fewer than five weeks is too few. Weeks that lie on the line to the last digit have
    standard error 0, and p 1 where the slope is 0, else 0.

    Missing weeks are not in the line, and are never taken as zero.

    Examples
    --------
    >>> counts = np.array([[[10.0, 20, 40, 80, 160, 320, 640, 1280]]])
    >>> trends = fit_trends(counts, np.full(counts.shape, 7.0), np.arange(8) * 7.0)
    >>> float(np.round(np.exp(trends.slope[0]), 6))
    2.0
    """
    counts, days = np.asarray(counts, np.float64), np.asarray(days, np.float64)
    effects = week_effects(counts, days)
    dates = np.broadcast_to(np.asarray(dates, np.float64), effects.shape)
    observed = ~np.isnan(counts).all(axis=1)
    refuse(observed & ~np.isfinite(dates), "dates", "must be finite numbers wherever there is a count")
    any_caught = np.nansum(counts, axis=(1, 2)) > 0
    return _line(effects, dates, np.asarray(observed, np.bool_), any_caught, at_least=np.zeros(len(counts), np.bool_))


def trends_of(
    station_weeks: StationWeeks, owner: Ints, n_owners: int, *, newest: int | None = None, weeks: int = WINDOW_WEEKS
) -> Trends:
    """Fit the trend over the last weeks of a grid for every owner (a farm and a method).

    Parameters
    ----------
    station_weeks : StationWeeks -- (n_stations, n_weeks).
    owner : (n_stations,) int -- whose station it is, from 0.
    n_owners : int
    newest : int -- index of the last week of the window; the grid's last week if not given.
    weeks : int -- length of the window; weeks before the grid begins are missing.

    Returns
    -------
    Trends -- (n_owners,) and (n_owners, weeks). A part of a card enters as the count on that part with as much less
    exposure; an at-least count at its bound, and marks the owner.

    Notes
    -----
    Owners are fitted in groups of like numbers of stations, so that little is padded.
    """
    n_stations, n_weeks = station_weeks.rate.shape
    refuse_unlike(owner, (n_stations,), "owner")
    refuse_outside(owner, n_owners, "owner")
    last = n_weeks - 1 if newest is None else newest
    refuse_outside(np.array([last]), n_weeks, "newest")
    window = _Window(station_weeks, np.arange(last + 1 - weeks, last + 1))
    counted, effort, exposure = window.of("counted"), window.of("effort"), window.of("exposure")
    add = OwnerSums(owner, (n_owners, weeks))
    effects = np.full((n_owners, weeks), np.nan)
    for owners, rows in _packs(owner, n_owners):
        effects[owners] = week_effects(counted[rows], effort[rows])
    return _line(
        effects,
        _week_dates(window.of("middle"), exposure, add),
        add(~np.isnan(counted)) > 0,
        add(np.nan_to_num(counted)).sum(axis=1) > 0,
        at_least=add(window.of("at_least") > 0).sum(axis=1) > 0,
    )


@dataclass(frozen=True)
class _Window:
    """The columns of a grid that the trend looks at; weeks before the grid begins are missing."""

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


def _line(effects: Floats, dates: Floats, observed: Bools, any_caught: Bools, *, at_least: Bools) -> Trends:
    """Put a least-squares line through the week effects of every farm that has enough of them."""
    weeks_observed, used = observed.sum(axis=1), ~np.isnan(effects)
    reason = _reasons(weeks_observed, used.sum(axis=1), any_caught)
    fitted = reason == ""
    use = used & fitted[:, None]
    n = np.where(fitted, use.sum(axis=1), WEEKS_NEEDED)
    x = _centred(np.where(use, dates, 0.0) / DAYS_A_WEEK, use, n)
    y = _centred(np.where(use, effects, 0.0), use, n)
    spread = (x**2).sum(axis=1)
    refuse(fitted & (spread == 0), "dates", "must differ from week to week")
    spread = np.where(fitted, spread, 1.0)
    slope = (x * y).sum(axis=1) / spread
    residual = (y - slope[:, None] * x) * use
    # Weeks on the line to the last digit have no scatter but rounding.
    rest = np.where(np.abs(residual).max(axis=1) > ROUNDING, (residual**2).sum(axis=1), 0.0)
    error = np.sqrt(rest / (n - 2) / spread)
    return Trends(
        slope=np.where(fitted, slope, np.nan),
        standard_error=np.where(fitted, error, np.nan),
        degrees=np.where(fitted, n - 2, 0),
        p_value=np.where(fitted, _two_sided(slope, error, n - 2), np.nan),
        reason=reason,
        weeks_observed=weeks_observed,
        weeks_used=used.sum(axis=1),
        at_least=at_least,
        week_effects=effects,
        dates=dates,
    )


def _reasons(observed: Ints, used: Ints, any_caught: Bools) -> Words:
    """Say why there is no line, "" where there is one."""
    why = [observed == 0, observed < WEEKS_NEEDED, ~any_caught, used < WEEKS_NEEDED]
    return np.select(why, ["no_counts", "too_few_weeks", "all_zero", "not_comparable"], default="")


def _centred(values: Floats, use: Bools, n: Ints) -> Floats:
    """Take the mean over the used weeks away, zero elsewhere."""
    return np.where(use, values - (values.sum(axis=1) / n)[:, None], 0.0)


def _two_sided(slope: Floats, error: Floats, degrees: Ints) -> Floats:
    """Give p of |slope| / error; with no error, 1 for no slope and 0 for any."""
    exact = error == 0
    t = np.abs(slope) / np.where(exact, 1.0, error)
    p = 2 * special.stdtr(degrees.astype(np.float64), -t)
    return np.where(exact, np.where(np.abs(slope) > ROUNDING, 0.0, 1.0), p)
