"""Are the flies on the way up, how fast, and how sure is that?"""

from dataclasses import dataclass

import numpy as np
from scipy import special

from monitoring.analysis.correlated_weeks import ALONE, WeekScatter, covariance_of_weeks, whitened
from monitoring.analysis.farm_weeks import FarmWeeks
from monitoring.analysis.shapes import Bools, Floats, Words

# The growth that is told is that of the last eight weeks.
TREND_WEEKS = 8
# Log effects agree to about 1e-9; residuals and slopes below this are rounding, not scatter.
ROUNDING = 1e-8


@dataclass(frozen=True)
class Trends:
    """The log-linear trend of each farm; arrays are (n_farms,) unless said otherwise.

    `slope` is the growth of the log rate per 7 days (exp(slope) - 1 is the growth a week), `standard_error` its
    standard error, `degrees` the degrees of freedom of its t, `p_value` two-sided; all NaN (degrees 0) where `reason`
    is not "" (see `farm_weeks.FarmWeeks`). `weeks` are the weeks that the line goes through.
    """

    slope: Floats
    standard_error: Floats
    degrees: Floats
    p_value: Floats
    reason: Words
    weeks: FarmWeeks

    def interval(self, level: float = 0.95) -> "GrowthInterval":
        """Give the interval of each slope, per 7 days; NaN where there is no slope."""
        if not 0 < level < 1:
            raise ValueError("level must be above 0 and below 1.")
        reach = special.stdtrit(np.maximum(self.degrees, 1.0), (1 + level) / 2) * self.standard_error
        return GrowthInterval(self.slope - reach, self.slope + reach)

    def doubling(self, level: float = 0.95) -> "Doubling":
        """Give the weeks in which the level doubles (or, falling, halves) at this growth; see `Doubling`."""
        ends = self.interval(level)
        return Doubling(_weeks_to_double(self.slope), _soonest(ends), _latest(ends))


@dataclass(frozen=True)
class GrowthInterval:
    """The ends of the slopes' intervals, (n_farms,), log growth per 7 days."""

    low: Floats
    high: Floats


@dataclass(frozen=True)
class Doubling:
    """Doubling times, (n_farms,), in weeks: negative = halving, infinite = neither, NaN = no trend.

    `soonest` and `latest` are the ends that the growth's interval allows, in the direction of the growth; `latest` is
    infinite where the interval holds no growth at all, so that a doubling need not come.
    """

    weeks: Floats
    soonest: Floats
    latest: Floats


def fit_trends(weeks: FarmWeeks, scatter: WeekScatter | None = None) -> Trends:
    """Put a line through the log week effects of every farm at once.

    Parameters
    ----------
    weeks : FarmWeeks -- 4 to 12 weeks; use `last` for fewer than were fitted.
    scatter : WeekScatter -- of the farm's network; None for a farm without one.

    Returns
    -------
    Trends

    Notes
    -----
    Weather moves all stations of a farm together, and one week's weather is like the last; so the weeks, not the
    counts, are what varies. Generalised least squares with the network's covariance of weeks gives the line; the farm's
    own scatter about it gives the scale, shrunk towards the network's where that comes from 100 farms or more; t on
    weeks - 2 degrees of freedom, plus those that the network's scale is worth. A farm without a network has its own
    scale and a printed correlation. Missing weeks are not in the line, and are never taken as zero. Weeks on the line
    to the last digit, with the own scale only, have standard error 0, and p 1 where the slope is 0, else 0.

    References
    ----------
    Simulated coverage: docs/calibration. Aitken 1935, On least squares and linear combination of observations, Proc R
    Soc Edinb 55:42-48 (from memory).

    Examples
    --------
    >>> from monitoring.analysis.farm_weeks import farm_weeks_from
    >>> counts = np.array([[[10.0, 20, 40, 80, 160, 320, 640, 1280]]])
    >>> weeks = farm_weeks_from(counts, np.full(counts.shape, 7.0), np.arange(8) * 7.0, 1.5)
    >>> float(np.round(np.exp(fit_trends(weeks).slope[0]), 6))
    2.0
    """
    scatter = scatter if scatter is not None and scatter.borrowed else ALONE
    told = weeks.told
    slope, variance, squares, degrees = (np.full(len(weeks), fill) for fill in (np.nan, np.nan, 0.0, 0.0))
    some = weeks.only(told)
    slope[told], variance[told], squares[told] = _line(some, scatter)
    own = np.where(told, weeks.used.sum(axis=1) - 2.0, 0.0)
    worth = scatter.degrees_of_an_interval
    degrees = np.where(told, own + worth, 0.0)
    scale = (worth + squares) / np.where(told, degrees, 1.0)
    error = np.sqrt(scale * variance)
    return Trends(slope, error, degrees, _two_sided(slope, error, degrees, told), weeks.reason, weeks)


def _line(weeks: FarmWeeks, scatter: WeekScatter) -> tuple[Floats, Floats, Floats]:
    """Give slope, its variance for a scale of one, and the sum of squares about the line, by the covariance."""
    used = weeks.used
    columns = np.stack([np.ones(used.shape), weeks.when, weeks.effects], axis=2)
    level, when, effects = np.moveaxis(whitened(covariance_of_weeks(weeks, scatter), used, columns), 2, 0)
    # Gram-Schmidt: what the level explains is taken out of dates and effects, then the line is one division.
    own = (level**2).sum(axis=1)
    when = when - level * ((level * when).sum(axis=1) / own)[:, None]
    effects = effects - level * ((level * effects).sum(axis=1) / own)[:, None]
    spread = (when**2).sum(axis=1)
    if (spread <= 0).any():
        raise ValueError("dates must differ from week to week.")
    slope = (when * effects).sum(axis=1) / spread
    rest = ((effects - slope[:, None] * when) ** 2).sum(axis=1)
    return slope, 1 / spread, np.where(rest > ROUNDING**2, rest, 0.0)


def _two_sided(slope: Floats, error: Floats, degrees: Floats, told: Bools) -> Floats:
    """Give p of |slope| / error; with no error, 1 for no slope and 0 for any."""
    exact = told & (error == 0)
    t = np.where(told & ~exact, np.abs(slope) / np.where(told & ~exact, error, 1.0), 0.0)
    p = 2 * special.stdtr(np.maximum(degrees, 1.0), -t)
    p = np.where(exact, np.where(np.abs(np.nan_to_num(slope)) > ROUNDING, 0.0, 1.0), p)
    return np.where(told, p, np.nan)


def _weeks_to_double(growth: Floats) -> Floats:
    """Give ln 2 / growth; infinite where there is none."""
    some = np.abs(np.nan_to_num(growth)) > ROUNDING
    weeks = np.where(some, np.log(2) / np.where(some, growth, 1.0), np.inf)
    return np.where(np.isnan(growth), np.nan, weeks)


def _soonest(ends: GrowthInterval) -> Floats:
    """Give the doubling time at the end of the interval that is farthest from no growth."""
    return _weeks_to_double(np.where(np.abs(ends.low) > np.abs(ends.high), ends.low, ends.high))


def _latest(ends: GrowthInterval) -> Floats:
    """Give the doubling time at the nearest end; infinite where the interval holds no growth."""
    nearest = np.where(np.abs(ends.low) > np.abs(ends.high), ends.high, ends.low)
    return np.where(ends.low * ends.high <= 0, np.inf, _weeks_to_double(nearest))
