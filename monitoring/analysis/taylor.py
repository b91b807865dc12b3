"""How does scatter grow with the mean?"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from monitoring.analysis.owners import OwnerSums
from monitoring.analysis.rates import StationWeeks
from monitoring.analysis.shapes import Bools, Floats, Ints, Words, refuse, refuse_outside, refuse_unlike

MOST = 1e9
FARM_WEEKS_NEEDED = 15
# On large dairies a standard error of 15 % of the mean needed 12 spot cards or 7 jug traps (Gerry et al. 2011, J Econ
# Entomol 104(3)), so s^2/m^2 = 0.15^2 x 12 and 0.15^2 x 7: 0.27 and 0.1575. That is a with b = 2. None is printed for
# legs.
PUBLISHED_A = {"card": 0.27, "trap": 0.1575}
PUBLISHED_B = 2.0
OWN, PUBLISHED, NONE = "own", "published", "none"
# Logs of means that differ by less than this are one mean, and no line goes through one point.
ALIKE = 1e-6
# exp of more, or of less than minus this, would leave the range of floats.
LARGEST_LOG = 700.0


@dataclass(frozen=True)
class TaylorLaws:
    """s^2 = a m^b of each group and method; arrays are (n_groups,).

    `a` and `b` are the group's own where `source` is "own", those of the published precision where it is "published",
    and NaN where it is "none". `log_a_error` and `b_error` are the standard errors of log a (natural) and b, `residual`
    the standard deviation of log s^2 about the line; NaN unless the law is the group's own, since none is printed with
    the published one. `smearing` is the mean of exp(residual), 1 for the published law. `farm_weeks` counts those that
    could be used. `reason` says why the law is not the group's own: "" (it is), "too_few_farm_weeks", or "means_alike"
    (all farm-weeks have one mean).
    """

    a: Floats
    b: Floats
    log_a_error: Floats
    b_error: Floats
    residual: Floats
    smearing: Floats
    farm_weeks: Ints
    source: Words
    reason: Words

    @property
    def mean_a(self) -> Floats:
        """(n_groups,) -- a times smearing, which gives the mean s^2 of farm-weeks where a gives a usual one."""
        return np.asarray(self.a * self.smearing, np.float64)


def taylor_laws(mean: ArrayLike, variance: ArrayLike, group: ArrayLike, method: ArrayLike) -> TaylorLaws:
    """Fit the power law of every group and method to its farm-weeks, or fall back on the published precision.

    Parameters
    ----------
    mean : (n_farm_weeks,) float -- mean over a farm's devices in a week, from 0 to a billion; NaN = not counted.
        [individuals a device and 7 days, or an animal]
    variance : (n_farm_weeks,) float -- variance over the same devices (n - 1 below the line); NaN where one device or
        none had a count.
    group : (n_farm_weeks,) int -- index of the group and method, from 0.
    method : (n_groups,) str -- "card", "trap" or "leg": what each group's index was counted with.

    Returns
    -------
    TaylorLaws

    Raises ValueError for what is negative, infinite or unlike in shape, and for a group outside 0 to n_groups - 1.

    Notes
    -----
    Least squares of log s^2 on log m. A farm-week with mean or variance zero has no logarithm and is left out, as is a
    missing one: where many are zero, b is that of the others. Fewer than fifteen are too few.

    A line through logs gives a usual variance, not the mean one, and s^2 from few devices is skewed: with k 1.5 and
    five devices a m^b is 28 % below the true variance, with nine 16 % (simulated; the test prints it). `mean_a` takes
    most of that back (9 and 4 % below), and is the one to plan with. `residual` says how far single farm-weeks lie
    off.

    References
    ----------
    Taylor 1961, Aggregation, variance and the mean, Nature 189:732-735. Gerry et al. 2011, J Econ Entomol 104(3). Duan
    1983, Smearing estimate: a nonparametric retransformation method, J Am Stat Assoc 78:605-610 (from memory).

    Examples
    --------
    >>> means = np.geomspace(1, 100, 15)
    >>> law = taylor_laws(means, 3 * means**1.5, np.zeros(15, int), ["card"])
    >>> law.a.round(6), law.b.round(6), str(law.source[0])
    (array([3.]), array([1.5]), 'own')
    """
    m, s2 = np.asarray(mean, np.float64), np.asarray(variance, np.float64)
    whose, methods = np.asarray(group, np.int64), np.asarray(method, np.str_)
    refuse_unlike(s2, m.shape, "variance")
    refuse_unlike(whose, m.shape, "group")
    refuse_outside(whose, len(methods), "group")
    refuse((m < 0) | (m > MOST), "mean", "must lie from 0 to a billion, or be NaN for missing")
    refuse((s2 < 0) | (s2 > MOST**2), "variance", "must lie from 0 to the square of a billion, or be NaN for missing")
    use = (m > 0) & (s2 > 0)
    line = _Line(np.log(m[use]), np.log(s2[use]), whose[use], len(methods))
    return _with_fallback(line, methods)


def device_moments(station_weeks: StationWeeks, owner: Ints, n_owners: int) -> tuple[Floats, Floats]:
    """Give mean and variance over an owner's stations in each week, as `taylor_laws` takes them.

    Parameters
    ----------
    station_weeks : StationWeeks -- (n_stations, n_weeks).
    owner : (n_stations,) int -- whose station it is, from 0.
    n_owners : int

    Returns
    -------
    two (n_owners, n_weeks) float -- NaN where nothing was counted; the variance also where one station was. Weeks with
    an at-least count are NaN: their scatter is not known.
    """
    rate = np.where(station_weeks.at_least, np.nan, station_weeks.rate)
    have, add = ~np.isnan(rate), OwnerSums(owner, (n_owners, rate.shape[1]))
    censored = add(station_weeks.at_least) > 0
    number = add(have)
    mean = np.where((number > 0) & ~censored, add(np.where(have, rate, 0.0)) / np.maximum(number, 1), np.nan)
    off = np.where(have & ~censored[owner], rate - mean[owner], 0.0)
    return mean, np.where((number > 1) & ~censored, add(off**2) / np.maximum(number - 1, 1), np.nan)


def variance_by_taylor(mean: ArrayLike, a: ArrayLike, b: ArrayLike) -> Floats:
    """Give s^2 = a m^b.

    Parameters
    ----------
    mean : array -- from 0 to a billion; NaN = not known. [individuals]
    a, b : arrays that go with it -- a above zero, b from -10 to 10; NaN = no law.

    Returns
    -------
    array of the common shape; 0 where the mean is zero, NaN where mean or law is missing.

    Examples
    --------
    >>> variance_by_taylor([0.0, 1.0, 10.0], 0.27, 2.0)
    array([ 0.  ,  0.27, 27.  ])
    """
    m, log_a, power = _law(mean, a, b)
    # log s^2 = log a + b log m
    log = log_a + power * np.log(np.where(m == 0, 1.0, m))
    return np.where(m == 0, 0.0, np.exp(np.clip(log, -LARGEST_LOG, LARGEST_LOG)))


def k_by_taylor(mean: ArrayLike, a: ArrayLike, b: ArrayLike) -> Floats:
    """Give the negative binomial's k at a mean, from the power law.

    Parameters and refusals are as in `variance_by_taylor`.

    Returns
    -------
    array of the common shape; inf where the law's variance is not above the mean (chance alone), NaN where the mean is
    zero (no k belongs to it) or mean or law is missing.

    References
    ----------
    Binns, Nyrop and van der Werf 2000, Sampling and monitoring in crop protection: k = m^2/(a m^b - m).

    Examples
    --------
    >>> k_by_taylor(1.0, 3.05, 1.02).round(5)
    np.float64(0.4878)
    """
    m, log_a, power = _law(mean, a, b)
    log_mean = np.log(np.where(m == 0, 1.0, m))
    # k = m^2/(a m^b - m) = m/(exp(z) - 1), z = log a + (b - 1) log m
    z = np.clip(log_a + (power - 1) * log_mean, -LARGEST_LOG, LARGEST_LOG)
    log_k = log_mean - np.log(np.expm1(np.where(z > 0, z, 1.0)))
    k = np.where(z > 0, np.exp(np.clip(log_k, -LARGEST_LOG, LARGEST_LOG)), np.inf)
    return np.where((m == 0) | np.isnan(z), np.nan, k)


def precision_by_taylor(mean: ArrayLike, devices: ArrayLike, a: ArrayLike, b: ArrayLike) -> Floats:
    """Give the standard error of a mean over so many devices as a share of the mean, from the power law.

    Parameters
    ----------
    mean, a, b : as in `variance_by_taylor`.
    devices : array that goes with them -- at least 1. [devices with a count]

    Returns
    -------
    array of the common shape, 0.2 for 20 %; NaN where the mean is zero, or mean or law is missing.

    Examples
    --------
    >>> precision_by_taylor(80.0, 5, [0.27, 0.1575], 2.0).round(3)
    array([0.232, 0.177])
    """
    n = np.asarray(devices, np.float64)
    refuse(np.atleast_1d(~((n >= 1) & (n <= MOST))), "devices", "must be numbers from 1")
    m, log_a, power = _law(mean, a, b)
    # sqrt(a m^(b-2) / n)
    log = (log_a + (power - 2) * np.log(np.where(m == 0, 1.0, m)) - np.log(n)) / 2
    return np.where(m == 0, np.nan, np.exp(np.clip(log, -LARGEST_LOG, LARGEST_LOG)))


@dataclass(frozen=True)
class _Line:
    """The sums of the least-squares lines of y on x in each group."""

    x: Floats
    y: Floats
    group: Ints
    n_groups: int

    @property
    def n(self) -> Ints:
        return np.bincount(self.group, minlength=self.n_groups).astype(np.int64)

    def add(self, values: Floats) -> Floats:
        return np.asarray(np.bincount(self.group, values, self.n_groups), np.float64)

    def centre(self, values: Floats) -> Floats:
        return np.asarray(self.add(values) / np.maximum(self.n, 1), np.float64)


def _with_fallback(line: _Line, methods: Words) -> TaylorLaws:
    """Give each group its own line where there is one, else the published precision of its method."""
    n, middle, height = line.n, line.centre(line.x), line.centre(line.y)
    dx, dy = line.x - middle[line.group], line.y - height[line.group]
    spread = line.add(dx**2)
    alike = spread <= n * ALIKE**2
    own = (n >= FARM_WEEKS_NEEDED) & ~alike
    divisor = np.where(own, spread, 1.0)
    slope = line.add(dx * dy) / divisor
    residual = dy - slope[line.group] * dx
    rest = line.add(residual**2) / np.maximum(n - 2, 1)
    smearing = line.centre(np.exp(np.clip(residual, -LARGEST_LOG, LARGEST_LOG)))
    # var b = s^2/Sxx;  var log a = s^2 (1/n + mean(x)^2/Sxx)
    a_error = np.sqrt(rest * (1 / np.maximum(n, 1) + middle**2 / divisor))
    published = np.array([PUBLISHED_A.get(str(each), np.nan) for each in methods], np.float64).reshape(methods.shape)
    log_a = np.clip(height - slope * middle, -LARGEST_LOG, LARGEST_LOG)
    return TaylorLaws(
        a=np.where(own, np.exp(np.where(own, log_a, 0.0)), published),
        b=np.where(own, slope, np.where(np.isnan(published), np.nan, PUBLISHED_B)),
        log_a_error=np.where(own, a_error, np.nan),
        b_error=np.where(own, np.sqrt(rest / divisor), np.nan),
        residual=np.where(own, np.sqrt(rest), np.nan),
        smearing=np.where(own, smearing, np.where(np.isnan(published), np.nan, 1.0)),
        farm_weeks=n,
        source=np.where(own, OWN, np.where(np.isnan(published), NONE, PUBLISHED)),
        reason=np.select([own, n < FARM_WEEKS_NEEDED], ["", "too_few_farm_weeks"], default="means_alike"),
    )


def _law(mean: ArrayLike, a: ArrayLike, b: ArrayLike) -> tuple[Floats, Floats, Floats]:
    """Give mean, log a and b in their common shape, or refuse them."""
    m, factor, power = np.broadcast_arrays(*(np.asarray(each, np.float64) for each in (mean, a, b)))
    refuse(_wrong((m < 0) | (m > MOST)), "mean", "must lie from 0 to a billion, or be NaN for not known")
    refuse(_wrong((factor <= 0) | np.isinf(factor)), "a", "must be a number above zero, or NaN for no law")
    refuse(_wrong(np.abs(power) > 10), "b", "must lie from -10 to 10, or be NaN for no law")
    return m, np.log(factor), power


def _wrong(where: Bools) -> Bools:
    return np.atleast_1d(where)
