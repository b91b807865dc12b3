"""How do a farm's weeks hang together? Weather moves all its stations at once, and one week's weather is like the last.

The covariance of a farm's log week effects is shock^2 stays^|t - s| + counting x (what counting alone gives), times the
farm's own scale. Every statement about weeks rests on it: a fit that takes stations for independent is too sure.
"""

from dataclasses import dataclass, replace
from math import floor, log10

import numpy as np

from monitoring.analysis.farm_weeks import FarmWeeks
from monitoring.analysis.shapes import Bools, Floats

# Degrees beyond which a scale is as good as known.
KNOWN = 1e6
# Logarithms beyond which an exponential may leave the floats.
FAR_APART = 600.0
# Figures borrowed from others come from at least so many holdings; from so many on their scales are shared too.
FARMS_TO_BORROW, FARMS_TO_SHARE_SCALE = 30, 100


@dataclass(frozen=True)
class WeekScatter:
    """How weeks scatter in a network of farms; see `week_scatter.fit_week_scatter`.

    `shock` is the standard deviation of the log of a week's shock to all stations of a farm, `stays` its correlation
    with the next week's, `counting` what the scatter of counts is multiplied by, `growth` the standard deviation of the
    log growth a week of farms that rise or fall, `degrees` how many degrees of freedom the network's scale is worth
    (infinite where farms do not differ), `k` the negative-binomial k that counts are weighted with (it takes up what
    else is wrong and must not be published as a k), `farms` how many farms it comes from (0 = printed here).
    """

    shock: float
    stays: float
    counting: float
    growth: float
    degrees: float
    k: float
    farms: int

    def __post_init__(self) -> None:
        for name in ("shock", "growth"):
            if not 0 <= getattr(self, name) < 100:
                raise ValueError(f"{name} must be a number from 0.")
        if not 0 <= self.stays < 1:
            raise ValueError("stays must be a number from 0 and below 1.")
        for name in ("counting", "k", "degrees"):
            if not getattr(self, name) > 0:
                raise ValueError(f"{name} must be above zero.")

    @property
    def borrowed(self) -> bool:
        """Whether it comes from enough farms to be used for one."""
        return self.farms >= FARMS_TO_BORROW

    @property
    def as_lent(self) -> "WeekScatter":
        """The same as a quarter lends it to the next: to two digits, so that no farm shows in it.

        A quarter in which no farm rose or fell lends no certainty that the next stays so: growth, for which forecasts
        leave room, is at least the printed one.
        """
        return replace(
            self,
            shock=two_digits(self.shock),
            stays=two_digits(self.stays),
            counting=two_digits(self.counting),
            growth=max(two_digits(self.growth), PRINTED.growth),
            degrees=two_digits(self.degrees),
        )

    @property
    def degrees_of_an_interval(self) -> float:
        """What the network's scale counts beside the farm's own, in intervals; 0 = the farm's own only."""
        return min(self.degrees, KNOWN) if self.farms >= FARMS_TO_SHARE_SCALE else 0.0

    @property
    def degrees_of_own_test(self) -> float:
        """Likewise in a farm's own test: at most one, or quiet and noisy farms would get unlike false alarms."""
        return min(self.degrees, 1.0) if self.borrowed else self.degrees

    @property
    def degrees_of_the_list(self) -> float:
        """Likewise on a group's list, where the network's own farms are compared."""
        return min(self.degrees, KNOWN if self.farms >= FARMS_TO_SHARE_SCALE else PRINTED.degrees)

    @property
    def degrees_of_a_forecast(self) -> float:
        """Likewise in the weeks ahead, where a scale from few farms does less harm than none."""
        return min(self.degrees, KNOWN)


# Where there is no network: our own choice, on the safe side of what trials with simulated farms found.
PRINTED = WeekScatter(shock=0.33, stays=0.3, counting=1.0, growth=0.15, degrees=6.0, k=1.5, farms=0)
# The interval of a farm without a network has its own scale, and a correlation that covers where weather lasts.
ALONE = WeekScatter(shock=0.25, stays=0.4, counting=1.0, growth=0.15, degrees=6.0, k=1.5, farms=0)


def covariance_of_weeks(weeks: FarmWeeks, scatter: WeekScatter) -> Floats:
    """Give the covariance of each farm's week effects, for a scale of one.

    Parameters
    ----------
    weeks : FarmWeeks -- (n, n_weeks).
    scatter : WeekScatter

    Returns
    -------
    (n, n_weeks, n_weeks) float, positive definite; a week that is not used has 1 on the diagonal and 0 elsewhere.

    Examples
    --------
    >>> from monitoring.analysis.farm_weeks import farm_weeks_from
    >>> counts = np.array([[[40.0, 40, 40, 40]]])
    >>> weeks = farm_weeks_from(counts, np.full(counts.shape, 7.0), np.arange(4) * 7.0, np.inf)
    >>> np.round(covariance_of_weeks(weeks, ALONE)[0, 0], 4)
    array([ 0.0813,  0.0188,  0.0038, -0.0022])
    """
    used = weeks.used
    covariance = kept_between(np.where(used, weeks.when, 0.0), scatter.stays)
    covariance *= scatter.shock**2
    covariance += scatter.counting * weeks.noise
    diagonal = np.arange(used.shape[1])
    # A hair on the diagonal keeps weeks without any scatter (shock 0, endless counts) from being singular.
    covariance[:, diagonal, diagonal] += 1e-9
    if not used.all():
        covariance = np.where(used[:, :, None] & used[:, None, :], covariance, 0.0)
        covariance[:, diagonal, diagonal] += ~used
    return covariance


def kept_between(when: Floats, stays: float) -> Floats:
    """Give what is left of each week's shock in each other week, stays^|t - s|.

    Parameters
    ----------
    when : (n, n_weeks) float -- dates in weeks.
    stays : float -- from 0 and below 1.

    Returns
    -------
    (n, n_weeks, n_weeks) float.

    Examples
    --------
    >>> kept_between(np.array([[-2.0, -1.0, 0.0]]), 0.5)[0, 0]
    array([1.  , 0.5 , 0.25])
    """
    newest, oldest = when.max(initial=0.0), when.min(initial=0.0)
    if stays == 0 or (newest - oldest) * -np.log(stays) > FAR_APART:
        return kept(np.abs(when[:, :, None] - when[:, None, :]), stays)
    # stays^(t - s) is stays^t / stays^s: an exponential a week, not one a pair of weeks.
    grown = kept(newest - when, stays)
    ratio = grown[:, :, None] * (1 / grown)[:, None, :]
    return np.minimum(ratio, ratio.transpose(0, 2, 1))


def kept(apart: Floats, stays: float) -> Floats:
    """Give what is left of a shock after so many weeks, stays^apart; all of it at once, 0^0 = 1.

    Examples
    --------
    >>> kept(np.array([0.0, 1.0, 2.0]), 0.5), kept(np.array([0.0, 1.0]), 0.0)
    (array([1.  , 0.5 , 0.25]), array([1., 0.]))
    """
    # An exponential takes a third of a power's time.
    if stays == 0:
        return np.where(apart == 0, 1.0, 0.0)
    return np.asarray(np.exp(np.maximum(apart * np.log(stays), -FAR_APART)))


def whitened(covariance: Floats, used: Bools, columns: Floats) -> Floats:
    """Give L^-1 columns, L L' the covariance: what least squares may be used on.

    Parameters
    ----------
    covariance : (n, n_weeks, n_weeks).
    used : (n, n_weeks) bool -- rows of the columns elsewhere are taken as zero, so NaN may stand there.
    columns : (n, n_weeks, m).

    Returns
    -------
    (n, n_weeks, m) float.
    """
    # Weeks first and farms last: one step of forward substitution serves all farms.
    lower = np.ascontiguousarray(np.linalg.cholesky(covariance).transpose(1, 2, 0))
    found = np.where(used[:, :, None], columns, 0.0).transpose(1, 2, 0).copy()
    for week in range(len(found)):
        found[week] -= np.einsum("jn,jmn->mn", lower[week, :week], found[:week])
        found[week] /= lower[week, week]
    return np.ascontiguousarray(found.transpose(2, 0, 1))


def two_digits(value: float) -> float:
    """Round to two significant digits.

    Examples
    --------
    >>> two_digits(0.32351), two_digits(39.7), two_digits(0.0)
    (0.32, 40.0, 0.0)
    """
    return round(value, 1 - floor(log10(abs(value)))) if value else 0.0


def since(when: Floats, weeks_back: float | Floats) -> Floats:
    """Give how many weeks a change that began so many weeks before the newest has lasted at each date; 0 before it.

    Examples
    --------
    >>> since(np.array([-3.0, -2.0, -1.0, 0.0]), 2)
    array([0., 0., 1., 2.])
    """
    return np.maximum(when + weeks_back, 0.0)
