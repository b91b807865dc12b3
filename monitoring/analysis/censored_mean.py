"""How many are there where some were too many to count?"""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from monitoring.analysis.shapes import Bools, Floats, Ints, Words, refuse, refuse_outside, refuse_unlike

# A farm's k (variance m + m^2/k of its devices' counts) is taken to lie about that of its network, the log with a
# standard deviation of 0.8. Where no network has shown its k: 1.5, between the 0.7 of counts with k 1.5 on places that
# differ by 0.6 (see `farm_mean.K_AT_ZERO`) and the 3.7 that the precision of spot cards on large dairies comes to
# (Gerry et al. 2011, J Econ Entomol 104(3)). Both lie within 1.2 standard deviations of it.
K_USUAL, LOG_K_SD = 1.5, 0.8
# Squared relative error of a catch measured by the cup: 20 % either way. Our own choice; no source.
CUP_ERROR = 0.04
# The prior of the log mean: m^-TILT times a power of the chance of a count below the highest "at least". A power of 1/2
# is the root of the information (Jeffreys) where counts are exponential, 1 that of one device more, known only to be
# below. Both constants are our own choice, by simulation (server/calibrate/farm_mean.py).
TILT, POWER = 0.5, 0.87
# Where the mean and k are looked for, in logs: from the mean recorded, and in standard deviations of log k.
BELOW, ABOVE, K_SIDES = 5.0, 9.0, 3.0
# Rounds that close in on them: so many means, so many k, and how far in logs below the top the next round begins.
ROUNDS = ((9, 3, 25.0), (9, 4, 16.0), (12, 5, 12.0))
MEANS, KS = 28, 9
HALF_AT_ENDS = np.array([0.5, *[1.0] * (KS - 2), 0.5])
DEVICES_AT_ONCE = 1000
LEAST_CHANCE = 1e-290
LEAST_LOG = -600.0


@dataclass(frozen=True)
class DeviceCounts:
    """Counts as columns, one entry a device (or a station's week), in any order.

    Parameters
    ----------
    owner : (n,) int -- whose it is: the index of a farm (or facility) and method, from 0.
    counted : (n,) float -- what was counted, before dividing by the part, zero or more; NaN = no count. [individuals]
    effort : (n,) float -- what it is counted on, above zero where there is a count: days times the part counted over
        the days of the rate, so that a mean rate m lets one expect m x effort. [1]
    at_least : (n,) bool -- too many to count: at least so many.
    error : (n,) float -- squared relative error of the measuring: 0 for a count, 0.04 by the cup.
    """

    owner: Ints
    counted: Floats
    effort: Floats
    at_least: Bools
    error: Floats

    def __post_init__(self) -> None:
        for name in ("counted", "effort", "at_least", "error"):
            refuse_unlike(getattr(self, name), self.owner.shape, name)
        have = ~np.isnan(self.counted)
        refuse(have & ((self.counted < 0) | np.isinf(self.counted)), "counted", "must be a number from 0, or NaN")
        usable = np.isfinite(self.effort) & (self.effort > 0)
        refuse(have & ~usable, "effort", "must be above zero wherever there is a count")
        refuse(have & ~(np.isfinite(self.error) & (self.error >= 0)), "error", "must be a number from 0")

    def of_rows(self, rows: Ints) -> "DeviceCounts":
        """Give these entries alone, in this order."""
        columns = (self.counted[rows], self.effort[rows], self.at_least[rows], self.error[rows])
        return DeviceCounts(self.owner[rows], *columns)


@dataclass(frozen=True)
class CensoredMeans:
    """The mean rate of each owner, (n_owners,): its ends and its middle (the median); NaN where there is none.

    `reason` says why something is missing: "" (nothing is), "no_count", "at_least" (nothing but at-least counts: a
    lower end, no middle, no upper one) or "nothing_caught" (all at zero: nothing is given).
    """

    low: Floats
    middle: Floats
    high: Floats
    reason: Words


def censored_means(counts: DeviceCounts, n_owners: int, *, k: float = K_USUAL, level: float = 0.95) -> CensoredMeans:
    """Give each owner's mean rate with its interval, counts and at-least counts together.

    Parameters
    ----------
    counts : DeviceCounts
    n_owners : int -- owners are numbered from 0 to n_owners - 1; one without a count gets NaN and "no_count".
    k : float -- of the network that the owners belong to, above zero.
    level : float -- confidence, above 0 and below 1.

    Returns
    -------
    CensoredMeans -- in the unit of the rate that `effort` is for.

    Raises ValueError where k, level or an owner is out of its range.

    Notes
    -----
    Counts are negative binomial about mean x effort: a part counted is a smaller effort, which is exact where the part
    is a fair sample of the whole. An at-least count adds the chance of so many or more, a measure by the cup its own
    error. The log mean and log k are judged together on a grid (Bayes); the interval leaves (1 - level) / 2 on either
    side. k's prior is log-normal about the network's with sd 0.8. The mean's is m^-0.5 times the chance, at that mean,
    of a count below the highest at-least one, to the power 0.87: what such counts can tell falls with that chance.
    With a flat prior lower ends are too high, and where one in three is at-least, one upper end in ten of five devices
    is hundreds of times the lower.

    Where every count is an at-least one there is no upper end; the lower is the mean at which so many would come up in
    (1 - level) / 2 of the weeks, averaged over k. "At least 0" says nothing, and is taken so. Zero counts as zero; a
    missing count is left out. All at zero: "nothing_caught", see `farm_mean` for the end that zeros leave.

    References
    ----------
    Negative binomial counts censored on the right: Terza 1985, A Tobit-type estimator for the censored Poisson
    regression model, Economics Letters 18. The root of the information as prior: Jeffreys 1946, Proc R Soc A 186;
    that of a censored exponential is the chance that it is not (both from memory).

    Examples
    --------
    >>> n = 5
    >>> five = DeviceCounts(np.zeros(n, np.int64), np.array([80.0, 120.0, 90.0, 100.0, 300.0]), np.ones(n),
    ...                     np.array([False] * 4 + [True]), np.zeros(n))
    >>> means = censored_means(five, 1)
    >>> [int(round(float(each[0]), -1)) for each in (means.low, means.middle, means.high)]
    [80, 150, 350]
    """
    if not 0 < level < 1:
        raise ValueError("level must be above 0 and below 1.")
    if not 0 < k < np.inf:
        raise ValueError("k must be above zero.")
    refuse_outside(counts.owner, n_owners, "owner")
    reason = _reasons(counts, n_owners)
    low, middle, high = (np.full(n_owners, np.nan) for _ in range(3))
    for part in _parts(counts, reason == "", float(np.log(k))):
        low[part.owners], middle[part.owners], high[part.owners] = _ends(part, level)
    low[reason == "at_least"] = 0.0
    for part in _parts(counts, reason == "at_least", float(np.log(k))):
        low[part.owners] = _lowest(part, (1 - level) / 2)
    return CensoredMeans(low, middle, high, reason)


def log_chance(counted: ArrayLike, at_least: ArrayLike, expected: ArrayLike, k: ArrayLike) -> Floats:
    """Give the log of the chance of each count, or, where it is an at-least one, of so many or more.

    Parameters
    ----------
    counted : (n,) -- zero or more, whole or not. [individuals]
    at_least : (n,) bool
    expected, k : (n, ...) -- mean above zero, and the k of variance m + m^2/k; with as many axes, which broadcast with
        each other.

    Returns
    -------
    (n, ...) float, at most 0, at least -668 for at-least counts; "at least 0" gives 0.

    Examples
    --------
    >>> np.exp(log_chance([0.0, 0.0, 1.0], [False, True, True], np.full(3, 2.0), np.ones(3))).round(4)
    array([0.3333, 1.    , 0.6667])
    """
    y, above = np.asarray(counted, np.float64), np.asarray(at_least, np.bool_)
    mean, scatter = np.asarray(expected, np.float64), np.asarray(k, np.float64)
    each = y.reshape(y.shape + (1,) * (mean.ndim - 1))
    chance = np.empty(np.broadcast_shapes(mean.shape, scatter.shape))
    chance[~above] = _log_chance_of(each[~above], mean[~above], scatter[~above])
    chance[above] = np.log(_chance_of_more(each[above], mean[above], scatter[above]))
    return chance


def _log_chance_of(y: Floats, mean: Floats, k: Floats) -> Floats:
    # log G(y + k) - log G(k) - log y! + y (log m - log k) - (y + k) log(1 + m/k), in an order of few long arrays.
    ways = special.gammaln(y + k) - special.gammaln(k) - special.gammaln(y + 1) - y * np.log(k)
    return np.asarray(ways + y * np.log(mean) - (y + k) * np.log1p(mean / k), np.float64)


def _chance_of_more(y: Floats, mean: Floats, k: Floats) -> Floats:
    # P(Y >= y) = I_p(y, k) with p = m / (k + m), the regularised incomplete beta function; 1 for y = 0.
    chance = special.betainc(y, k, mean / (k + mean))
    return np.where(y > 0, np.maximum(chance, LEAST_CHANCE), 1.0)


def _reasons(counts: DeviceCounts, n_owners: int) -> Words:
    have = ~np.isnan(counts.counted)

    def any_of(which: Bools) -> Bools:
        return np.bincount(counts.owner[which & have], minlength=n_owners) > 0

    none, only = ~any_of(have), ~any_of(~counts.at_least)
    nothing = ~any_of(counts.counted > 0)
    return np.select([none, only, nothing], ["no_count", "at_least", "nothing_caught"], "")


@dataclass(frozen=True)
class _Part:
    """Some owners' counts, sorted by owner; `owners` are their numbers, `of` (n,) the place of each device's in it."""

    counts: DeviceCounts
    owners: Ints
    of: Ints
    log_k: float

    @cached_property
    def first(self) -> Ints:
        """(n_owners,) -- where each owner's devices begin."""
        return np.searchsorted(self.of, np.arange(self.owners.size)).astype(np.int64)

    @cached_property
    def highest(self) -> tuple[Ints, Ints]:
        """The owners that have an at-least count, and where the highest of each stands."""
        rate = np.where(self.counts.at_least, self.counts.counted / self.counts.effort, -1.0)
        order = np.lexsort((rate, self.of))
        last = order[np.append(self.first[1:], self.of.size) - 1]
        have = rate[last] > 0
        return have.nonzero()[0].astype(np.int64), last[have]

    @cached_property
    def middle(self) -> Floats:
        """(n_owners,) -- log of the mean recorded."""
        counted, effort = (np.add.reduceat(each, self.first) for each in (self.counts.counted, self.counts.effort))
        return np.asarray(np.log(np.maximum(counted, 0.5) / effort), np.float64)

    def log_likelihood_of_each(self, log_mean: Floats, log_k: Floats) -> Floats:
        """(n, n_means, n_ks) -- of each device, at (n_owners, n_means) log means and (n_owners, n_ks) log k."""
        expected = np.exp(log_mean[self.of] + np.log(self.counts.effort)[:, None])
        k, error = np.exp(log_k[self.of]), self.counts.error[:, None]
        # With measuring error v the squared relative scatter is (1 + 1/k)(1 + v) - 1 = 1/k + v (1 + 1/k).
        k = 1 / (1 / k + error * (1 + 1 / k))
        return log_chance(self.counts.counted, self.counts.at_least, expected[:, :, None], k[:, None, :])

    def log_posterior(self, log_mean: Floats, log_k: Floats) -> Floats:
        """(n_owners, n_means, n_ks) -- of the log mean and log k, up to a constant."""
        each = self.log_likelihood_of_each(log_mean, log_k)
        total = np.add.reduceat(each, self.first, axis=0) - TILT * log_mean[:, :, None]
        owners, place = self.highest
        total[owners] += POWER * np.log(np.maximum(-np.expm1(each[place]), LEAST_CHANCE))
        return np.asarray(total - ((log_k - self.log_k) / LOG_K_SD)[:, None, :] ** 2 / 2, np.float64)


def _parts(counts: DeviceCounts, chosen: Bools, log_k: float) -> Iterator[_Part]:
    """Cut the chosen owners into parts of about a thousand devices, which fit into the processor's cache.

    An "at least 0" says nothing, and is left out.
    """
    says_nothing = counts.at_least & (counts.counted == 0)
    use = np.flatnonzero(chosen[counts.owner] & ~np.isnan(counts.counted) & ~says_nothing)
    use = use[np.argsort(counts.owner[use], kind="stable")]
    if not use.size:
        return
    owners, first = np.unique(counts.owner[use], return_index=True)
    cuts = np.flatnonzero(np.diff(first // DEVICES_AT_ONCE)) + 1
    for own, rows in zip(np.split(owners, cuts), np.split(use, first[cuts]), strict=True):
        part = counts.of_rows(rows)
        yield _Part(part, own, np.searchsorted(own, part.owner).astype(np.int64), log_k)


def _ends(part: _Part, level: float) -> tuple[Floats, Floats, Floats]:
    """Give the lower end, the median and the upper end of the mean."""
    (low, mode, high), (least_k, most_k) = _closed_in(part)
    log_mean, steps = _curved(low, mode, high)
    log = part.log_posterior(log_mean, _spread(least_k, most_k, KS))
    # Summed over k by the trapezoidal rule, of equal steps in log k.
    density = np.exp(np.maximum(log - log.max((1, 2), keepdims=True), LEAST_LOG)) @ HALF_AT_ENDS * steps
    far = float(special.ndtri((1 + level) / 2))
    scores = _normal_scores(density)
    lower, middle, upper = (np.exp(_crossing(log_mean, scores, at)) for at in (-far, 0.0, far))
    return lower, middle, upper


def _closed_in(part: _Part) -> tuple[tuple[Floats, Floats, Floats], tuple[Floats, Floats]]:
    """Give where the log mean lies (from, likeliest, to) and where log k does.

    For one k the log posterior is concave in the log mean, so that nothing is lost outside what a round keeps.
    """
    low, high = part.middle - BELOW, part.middle + ABOVE
    side = K_SIDES * LOG_K_SD
    least_k, most_k = np.full_like(low, part.log_k - side), np.full_like(low, part.log_k + side)
    mode = part.middle
    for n_means, n_ks, drop in ROUNDS:
        log_mean, log_k = _spread(low, high, n_means), _spread(least_k, most_k, n_ks)
        log = part.log_posterior(log_mean, log_k)
        best = log.max(2).argmax(1)
        mode = log_mean[np.arange(best.size), best]
        low, high = _kept(log_mean, log.max(2), drop)
        least_k, most_k = _kept(log_k, log.max(1), drop)
        least_k, most_k = np.maximum(least_k, part.log_k - side), np.minimum(most_k, part.log_k + side)
    return (low, mode, high), (least_k, most_k)


def _spread(low: Floats, high: Floats, number: int) -> Floats:
    return low[:, None] + (high - low)[:, None] * np.linspace(0, 1, number)


def _kept(x: Floats, log: Floats, drop: float) -> tuple[Floats, Floats]:
    """Give the ends of where `log` comes within `drop` of its top, one step further out."""
    keep = log > log.max(1, keepdims=True) - drop
    first, last = keep.argmax(1), x.shape[1] - 1 - keep[:, ::-1].argmax(1)
    row, step = np.arange(x.shape[0]), x[:, 1] - x[:, 0]
    return x[row, first] - step, x[row, last] + step


def _curved(low: Floats, mode: Floats, high: Floats) -> tuple[Floats, Floats]:
    """Give as many points on either side of the mode, close on the short side, and dx/dt.

    x = mode + a (exp(bt) - 1) for t from -1 to 1, with exp(b) = (high - mode) / (mode - low).
    """
    bend = np.log((high - mode) / (mode - low))
    bend = np.where(np.abs(bend) < 1e-3, 1e-3, bend)
    size = (mode - low) / -np.expm1(-bend)
    along = bend[:, None] * np.linspace(-1, 1, MEANS)
    return mode[:, None] + size[:, None] * np.expm1(along), (size * bend)[:, None] * np.exp(along)


def _normal_scores(density: Floats) -> Floats:
    """Give the normal score of the share that lies below each point: nearly a straight line in the log mean."""
    # Euler and Maclaurin: the integral to x_i is h (f_1 + ... + f_i - f_i / 2 - (f_(i+1) - f_(i-1)) / 24 ...)
    bend = np.zeros_like(density)
    bend[:, 1:-1] = (density[:, 2:] - density[:, :-2]) / 24
    below = np.maximum.accumulate(np.cumsum(density, axis=1) - density / 2 - bend, axis=1)
    share = below / density.sum(1, keepdims=True)
    return np.asarray(special.ndtri(np.clip(share, 1e-12, 1 - 1e-12)), np.float64)


def _crossing(x: Floats, scores: Floats, at: float) -> Floats:
    """Give where rising scores reach `at`, on straight lines between the points; an end where they do not."""
    after = np.clip((scores < at).sum(1), 1, x.shape[1] - 1)
    row = np.arange(x.shape[0])
    left, right = scores[row, after - 1], scores[row, after]
    share = np.clip((at - left) / np.maximum(right - left, 1e-9), 0.0, 1.0)
    return np.asarray(x[row, after - 1] + share * (x[row, after] - x[row, after - 1]), np.float64)


def _lowest(part: _Part, chance: float) -> Floats:
    """Give the mean at which every device comes to its "at least" with so small a chance, averaged over k."""
    log_k = np.broadcast_to(part.log_k + LOG_K_SD * np.linspace(-K_SIDES, K_SIDES, KS), (part.owners.size, KS))
    weight = np.exp(-(np.linspace(-K_SIDES, K_SIDES, KS) ** 2) / 2)
    low, high, at = part.middle - BELOW, part.middle + BELOW, float(special.ndtri(chance))
    for _ in range(3):
        log_mean = _spread(low, high, 8)
        log = np.add.reduceat(part.log_likelihood_of_each(log_mean, log_k), part.first, axis=0)
        share = np.exp(np.maximum(log, LEAST_LOG)) @ weight / weight.sum()
        scores = special.ndtri(np.clip(share, 1e-12, 1 - 1e-12))
        found, step = _crossing(log_mean, scores, at), (high - low) / 7
        low, high = found - step / 2, found + step / 2
    return np.exp(found)
