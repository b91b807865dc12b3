"""Where will the farm be in one, two and three weeks, and when is its action level likely crossed?"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from monitoring.analysis.correlated_weeks import (
    PRINTED,
    WeekScatter,
    covariance_of_weeks,
    kept,
    since,
    whitened,
)
from monitoring.analysis.farm_weeks import FarmWeeks
from monitoring.analysis.shapes import Bools, Floats, Words, refuse, refuse_unlike, stretched

WEEKS_AHEAD = (1, 2, 3)
# Beyond six weeks weather decides: a crossing later than that is "not in sight".
HORIZON = 6
IN_SIGHT, OVER_NOW, NOT_IN_SIGHT, NO_LEVEL = "in_sight", "over_now", "not_in_sight", "no_level"


@dataclass(frozen=True)
class Forecasts:
    """Predictive distributions of the log mean, one a farm and week ahead; see `forecast`.

    `ahead` (n_ahead,) -- weeks after the newest, 0 = now. `middle` and `spread` (n_farms, n_ahead) -- centre and scale
    of a t distribution of the log of the mean, NaN where `reason` is not ""; `degrees` (n_farms,). What is told at 0 is
    the true level of the stations now; at 1 and later, what a round will count.
    """

    ahead: tuple[float, ...]
    middle: Floats
    spread: Floats
    degrees: Floats
    reason: Words

    def interval(self, level: float = 0.8) -> tuple[Floats, Floats]:
        """Give the ends of each forecast, (n_farms, n_ahead), in the unit of the mean; NaN where there is none."""
        if not 0 < level < 1:
            raise ValueError("level must be above 0 and below 1.")
        reach = special.stdtrit(self.degrees, (1 + level) / 2)[:, None] * self.spread
        return _exp(self.middle - reach), _exp(self.middle + reach)

    @property
    def median(self) -> Floats:
        """(n_farms, n_ahead) -- the middle of each forecast, in the unit of the mean."""
        return _exp(self.middle)

    def probability_over(self, level: ArrayLike) -> Floats:
        """Give the probability of a mean over a level.

        Parameters
        ----------
        level : number or (n_farms,) -- action level in the unit of the mean; NaN = none set.

        Returns
        -------
        (n_farms, n_ahead) float -- NaN where there is no level or no forecast.
        """
        levels = stretched(np.asarray(level, np.float64), (len(self.middle),), "level")
        refuse(levels <= 0, "level", "must be above zero, or NaN for none")
        known = ~np.isnan(levels)[:, None] & ~np.isnan(self.middle)
        log_level = np.log(np.where(np.isnan(levels), 1.0, levels))[:, None]
        t = np.where(known, (self.middle - log_level) / np.where(known, self.spread, 1.0), 0.0)
        return np.where(known, special.stdtr(self.degrees[:, None], t), np.nan)


@dataclass(frozen=True)
class Crossings:
    """When the level is likely crossed, (n_farms,), in weeks from the newest; see `crossings`.

    `word` is "in_sight", "over_now", "not_in_sight", "no_level", or the forecast's own reason. `weeks` is the first
    week whose forecast is more likely over than not, `soonest` the first that is over with one chance in ten, `latest`
    the first that is over with nine chances in ten; infinite = not within six weeks, NaN where `word` is another.
    """

    word: Words
    weeks: Floats
    soonest: Floats
    latest: Floats


def forecast(
    weeks: FarmWeeks, scatter: WeekScatter | None = None, *, ahead: tuple[float, ...] = (0.0, *WEEKS_AHEAD)
) -> Forecasts:
    """Give the predictive distribution of each farm's mean now and in the weeks ahead.

    Parameters
    ----------
    weeks : FarmWeeks -- up to 12 weeks.
    scatter : WeekScatter -- of the farm's network, from earlier weeks; None where there is none: the printed one.
    ahead : weeks after the newest used week, zero or more.

    Returns
    -------
    Forecasts

    Notes
    -----
    Best linear prediction with an unknown level. The log of a week is the level, plus a change that may have begun in
    any week of the window and goes on at a growth of mean zero and the network's standard deviation, plus a shock that
    stays as in the network, plus what counting adds. So a farm that has just begun to rise is expected to go on, but by
    less than its last weeks show; that a rise flattens, as rises do when food or warmth give out, is not in it: say so
    on the page. The scale is the farm's own beside the network's, t on the degrees of both. The level itself is
    uncertain by what counting adds over the window.

    Counting makes logs of counted means lower than the log of the true one by half its variance: at 0, where the true
    level is told, that is put back.

    A newest week that was not counted moves the forecast's origin to the last counted week. Missing is never zero.

    References
    ----------
    Goldberger 1962, Best linear unbiased prediction in the generalized linear regression model, J Amer Stat Assoc
    57:369-375 (from memory). Coverage and gain over carrying the last week forward: docs/calibration.

    Examples
    --------
    >>> from monitoring.analysis.farm_weeks import farm_weeks_from
    >>> counts = np.array([[[40.0, 41, 39, 40, 40, 41, 39, 40]] * 9])
    >>> weeks = farm_weeks_from(counts, np.full(counts.shape, 7.0), np.arange(8) * 7.0, 1.5)
    >>> bool(abs(forecast(weeks).median[0, 2] - 40) < 3)
    True
    """
    refuse(np.array([not 0 <= each < np.inf for each in ahead]), "ahead", "must be weeks from 0")
    scatter = scatter if scatter is not None and scatter.borrowed else PRINTED
    told = weeks.told
    middle, spread = (np.full((len(weeks), len(ahead)), np.nan) for _ in range(2))
    degrees = np.ones(len(weeks))
    some = _Prediction.of(weeks.only(told), scatter, np.asarray(ahead, np.float64))
    degrees[told] = some.degrees
    middle[told], spread[told] = some.ahead()
    return Forecasts(tuple(ahead), middle, spread, degrees, weeks.reason)


def crossings(
    forecasts: Forecasts, level: ArrayLike, over_now: Bools, *, probability: Floats | None = None
) -> Crossings:
    """Say when each farm is likely over its action level.

    Parameters
    ----------
    forecasts : Forecasts -- for 1 to 6 weeks ahead, in order (`ahead=CROSSING_WEEKS`).
    level : (n_farms,) float -- action level; NaN = none set.
    over_now : (n_farms,) bool -- this week's mean is over it by the method's own comparison.
    probability : (n_farms, n_ahead) float -- `forecasts.probability_over(level)`, if it is known already.

    Returns
    -------
    Crossings
    """
    levels = stretched(np.asarray(level, np.float64), (len(forecasts.middle),), "level")
    refuse_unlike(over_now, levels.shape, "over_now")
    over = np.nan_to_num(forecasts.probability_over(levels) if probability is None else probability)
    firsts = [_first(over >= chance, forecasts.ahead) for chance in (0.5, 0.1, 0.9)]
    word = np.select(
        [forecasts.reason != "", np.isnan(levels), over_now, np.isinf(firsts[0])],
        [forecasts.reason, NO_LEVEL, OVER_NOW, NOT_IN_SIGHT],
        default=IN_SIGHT,
    )
    week, soonest, latest = (np.where(word == IN_SIGHT, first, np.nan) for first in firsts)
    return Crossings(word, week, soonest, latest)


CROSSING_WEEKS = tuple(float(week) for week in range(1, HORIZON + 1))


def _first(over: Bools, ahead: tuple[float, ...]) -> Floats:
    """Give the first week ahead that is marked; infinite where none is."""
    return np.where(over.any(axis=1), np.asarray(ahead)[over.argmax(axis=1)], np.inf)


@dataclass(frozen=True)
class _Prediction:
    """What is known of some farms: whitened level, effects, and what each date ahead shares with the weeks.

    `weeks_ahead` (n_ahead,); `level`, `effects` (n, n_weeks); `known` (n, n_weeks, n_ahead).
    """

    weeks: FarmWeeks
    scatter: WeekScatter
    weeks_ahead: Floats
    starts: Floats
    level: Floats
    effects: Floats
    known: Floats
    scale: Floats
    degrees: Floats

    @classmethod
    def of(cls, weeks: FarmWeeks, scatter: WeekScatter, ahead: Floats) -> "_Prediction":
        used = weeks.used
        when = np.where(used, weeks.when, 0.0)[:, :, None]
        starts = np.arange(1.0, np.maximum(used.shape[1], 2))
        changes = np.where(used[:, :, None], since(when, starts), 0.0)
        growth = scatter.growth**2 / starts.size
        lasting = scatter.shock**2 * kept(-when, scatter.stays) * kept(ahead, scatter.stays)
        shared = lasting + growth * np.matmul(changes, since(ahead, starts[:, None]))
        covariance = covariance_of_weeks(weeks, scatter)
        covariance += growth * np.matmul(changes, changes.transpose(0, 2, 1))
        columns = np.concatenate([np.ones((*used.shape, 1)), weeks.effects[:, :, None], shared], axis=2)
        white = whitened(covariance, used, columns)
        level, effects, known = white[:, :, 0], white[:, :, 1], white[:, :, 2:]
        own = used.sum(axis=1) - 1.0
        rest = (effects**2).sum(axis=1) - (level * effects).sum(axis=1) ** 2 / (level**2).sum(axis=1)
        degrees = own + scatter.degrees_of_a_forecast
        scale = (scatter.degrees_of_a_forecast + np.maximum(rest, 0.0)) / degrees
        return cls(weeks, scatter, ahead, starts, level, effects, known, scale, degrees)

    def ahead(self) -> tuple[Floats, Floats]:
        """Give the centre and spread of the log mean so many weeks ahead, (n, n_ahead)."""
        weeks, scatter, ahead = self.weeks, self.scatter, self.weeks_ahead
        later = since(ahead[:, None], self.starts)
        own = (self.level**2).sum(axis=1)[:, None]
        along = np.matmul(self.level[:, None, :], self.known)[:, 0, :]
        level = (self.level * self.effects).sum(axis=1)[:, None] / own
        off = self.effects - level * self.level
        middle = level + np.matmul(off[:, None, :], self.known)[:, 0, :]
        variance = scatter.shock**2 + scatter.growth**2 * (later**2).sum(axis=1) / self.starts.size
        variance = variance - (self.known**2).sum(axis=1) + (1 - along) ** 2 / own
        noise = scatter.counting * weeks.noise_of_a_week[:, None]
        variance = variance + noise / np.maximum(weeks.used.sum(axis=1), 1)[:, None] + np.where(ahead > 0, noise, 0.0)
        middle = weeks.base[:, None] + middle + np.where(ahead == 0, noise / 2, 0.0)
        return middle, np.sqrt(np.maximum(variance, 1e-9) * self.scale[:, None])


def _exp(log: Floats) -> Floats:
    """Give exp, with an end beyond any count told as the largest one."""
    return np.exp(np.clip(log, -50.0, 50.0))
