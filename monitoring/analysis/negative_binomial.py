"""How likely are counts that scatter more than by chance, and which k makes them likeliest?"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from monitoring.analysis.shapes import Floats, Ints, refuse

MOST = 1e9
# The first factors of a product are taken one by one; from here on the Stirling series, right to 1e-14, takes over.
FACTORS = 16
STIRLING = (1 / 12, -1 / 360, 1 / 1260, -1 / 1680, 1 / 1188)
# Up to here 1 - log(1 + x)/x comes from its series, since the difference would lose digits.
SMALL = 0.1
# Where log(1/k) is looked for: a million counts of up to a billion cannot bring it outside.
LOWEST, HIGHEST = -75.0, 25.0
LONGEST_STEP, LAST_STEP = 3.0, 1e-8
MOST_STEPS = 200
# Groups that share a k may have several maxima: these looks, k from a million to 0.0001, find the highest.
LOOKS = np.arange(-14.0, 9.5, 0.4)
# Sums of whole numbers are right to about 1e-15 of their size.
ROUNDING = 1e-13


@dataclass(frozen=True)
class Likelihood:
    """The likelihood of k for many owners at once; an owner has one group of counts, or several that share its k.

    Each group's mean is its sample mean, the likeliest whatever k is. The argument is t = log(1/k), (n_owners,).

    `above` is (n_owners, FACTORS - 1): how many counts are above 1, 2, ... Counts above FACTORS stand in `large`, whose
    they are in `large_owner`. `total`, `size` and `owner` are (n_groups,): the sum of a group, how many counts, whose.
    `poisson` is (n_owners,): log L where k is infinite. `adjusted` is the part of log(1 + a m) that each group adds: 0
    for the likelihood itself, 1/2 for Cox and Reid's adjustment for having taken the means from the same counts.

    Notes
    -----
    With a = 1/k, and for each group n counts y with mean m,
    log L = log L(Poisson) + sum over y, j < y of log(1 + a j) - n m w(a m), w(x) = (1 + 1/x) log(1 + x) - 1.
    Written so, nothing as large as log gamma(k) is taken from its like, and no digits are lost where k is large.

    References
    ----------
    Cox and Reid 1987, Parameter orthogonality and approximate conditional inference, J R Stat Soc B 49:1-39 (from
    memory). Means and k are orthogonal; the information on a log mean is n m/(1 + a m).
    """

    above: Floats
    large: Floats
    large_owner: Ints
    total: Floats
    size: Floats
    owner: Ints
    poisson: Floats
    adjusted: float = 0.0

    @property
    def mean(self) -> Floats:
        """(n_groups,) -- zero for a group without counts."""
        return np.asarray(self.total / np.maximum(self.size, 1.0), np.float64)

    def excess(self) -> Floats:
        """Give twice the slope of log L by a at a = 0, zero where rounding is all there is: the sum of y (y - 1) - m^2.

        Above zero where the counts of an owner scatter more than by chance. The adjustment adds the means: then a group
        has n - 1 in place of n.
        """
        # sum over y of y (y - 1) = 2 sum over y, j < y of j
        pairs = 2 * (self.above @ np.arange(1.0, FACTORS))
        pairs += self._add(self.large * (self.large - 1) - FACTORS * (FACTORS - 1.0), 0.0 * self.total)
        squares = self.total**2 / np.maximum(self.size, 1.0)
        excess = pairs - self._by_owner(squares - 2 * self.adjusted * self.mean)
        return np.where(np.abs(excess) > ROUNDING * pairs, excess, 0.0)

    def gain(self, t: Floats) -> Floats:
        """Give by how much log L is above the Poisson limit's."""
        a = np.exp(t)
        at_large = a[self.large_owner]
        short = (self.above * np.log1p(_up_to_factors(a))).sum(axis=1)
        long = _log_product(self.large, at_large) - _log_product(float(FACTORS), at_large)
        at_mean = self.mean * a[self.owner]
        each = self.total * _area(at_mean) - self.adjusted * np.log1p(at_mean)
        return np.asarray(short + self._add(long, each), np.float64)

    def slope_and_curve(self, t: Floats) -> tuple[Floats, Floats]:
        """Give the first and second derivative of log L by t."""
        a = np.exp(t)
        at_large, x, at_mean = a[self.large_owner], _up_to_factors(a), self.mean * a[self.owner]
        slopes, curves = _slope_and_curve(self.large, at_large)
        start_slopes, start_curves = _slope_and_curve(float(FACTORS), at_large)
        lost, part, extra = shortfall(at_mean), at_mean / (1 + at_mean), self.adjusted
        # By t: x/(1 + x) and x/(1 + x)^2 for log(1 + x);  d and x/(1 + x) - d for w(x), where d is 1 - log(1 + x)/x
        slope = (self.above * (x / (1 + x))).sum(axis=1)
        curve = (self.above * (x / (1 + x) ** 2)).sum(axis=1)
        return (
            slope + self._add(slopes - start_slopes, self.total * lost - extra * part),
            curve + self._add(curves - start_curves, self.total * (part - lost) - extra * part * (1 - part)),
        )

    def _add(self, of_large: Floats, of_group: Floats) -> Floats:
        return np.bincount(self.large_owner, of_large, len(self.above)) - self._by_owner(of_group)

    def _by_owner(self, of_group: Floats) -> Floats:
        return np.asarray(np.bincount(self.owner, of_group, len(self.above)), np.float64)


def checked_counts(counts: ArrayLike, *, whole: bool = False, name: str = "counts") -> Floats:
    """Give counts as (n_groups, n_values) floats, or refuse them by their name."""
    y = np.asarray(counts, np.float64)
    if y.ndim != 2:
        raise ValueError(f"{name} must have two axes: groups, values.")
    refuse((y < 0) | (y > MOST), name, "must be numbers from 0 to a billion, or NaN for missing")
    if whole:
        refuse(~np.isnan(y) & (y != np.floor(y)), name, "must be whole numbers, or NaN for missing")
    return y


def sizes(y: Floats) -> tuple[Ints, Floats]:
    """Give how many counts each group has, and their sum."""
    return (~np.isnan(y)).sum(axis=1), np.asarray(np.nansum(y, axis=1), np.float64)


def likelihood_of(counts: Floats, owner: Ints, n_owners: int) -> Likelihood:
    """Prepare the likelihood of counts, (n_groups, n_values) whole numbers from 0 to a billion, NaN = missing."""
    group, column = np.nonzero(~np.isnan(counts))
    y = counts[group, column]
    total = np.asarray(np.bincount(group, y, len(counts)), np.float64)
    size = np.bincount(group, minlength=len(counts)).astype(np.float64)
    whose = owner[group]
    # How many counts an owner has of 0, 1, ... FACTORS and more; then how many above 1, 2, ... FACTORS - 1.
    cell = whose * (FACTORS + 1) + np.minimum(y, FACTORS).astype(np.int64)
    having = np.bincount(cell, minlength=n_owners * (FACTORS + 1)).reshape(n_owners, FACTORS + 1)
    above = having[:, :1:-1].cumsum(axis=1)[:, ::-1].astype(np.float64)
    # log L(Poisson) = sum over y of y log m - m - log y!
    group_part = special.xlogy(total, total / np.maximum(size, 1.0)) - total
    poisson = np.bincount(owner, group_part, n_owners) - np.bincount(whose, special.gammaln(y + 1), n_owners)
    many = y > FACTORS
    return Likelihood(above, y[many], whose[many], total, size, owner, np.asarray(poisson, np.float64))


def likeliest_alone(likelihood: Likelihood) -> Floats:
    """Give the t = log(1/k) of the highest likelihood where every owner has one group; -inf = k is infinite.

    Notes
    -----
    For one group the maximum is the only one, and finite just where `excess` is above zero (Levin and Reeds 1977).

    References
    ----------
    Levin and Reeds 1977, Compound multinomial likelihood functions are unimodal, Ann Stat 5:79-87 (from memory).
    """
    finite, start = likelihood.excess() > 0, _by_moments(likelihood)
    # Where there is nothing to climb the bracket is shut from the beginning.
    found = _climb(likelihood, start, np.where(finite, LOWEST, start), np.where(finite, HIGHEST, start))
    return np.where(finite, found, -np.inf)


def likeliest_shared(likelihood: Likelihood) -> Floats:
    """Give the t = log(1/k) of the highest likelihood where groups share their owner's k; -inf = k is infinite."""
    everyone = np.arange(len(likelihood.above))
    gains = np.array([likelihood.gain(np.full(len(everyone), look)) for look in LOOKS])
    best = np.argmax(gains, axis=0)
    low = np.where(best > 0, LOOKS[np.maximum(best - 1, 0)], LOWEST)
    high = np.where(best < len(LOOKS) - 1, LOOKS[np.minimum(best + 1, len(LOOKS) - 1)], HIGHEST)
    start = np.where(best > 0, LOOKS[best], np.clip(_by_moments(likelihood), low, high))
    finite = (likelihood.excess() > 0) | (gains[best, everyone] > 0)
    found = _climb(likelihood, start, np.where(finite, low, start), np.where(finite, high, start))
    return np.where(finite, found, -np.inf)


def _by_moments(likelihood: Likelihood) -> Floats:
    """Give log of the excess over the sum of squared means, which is the likeliest a near the Poisson limit."""
    squares = np.bincount(likelihood.owner, likelihood.total * likelihood.mean, len(likelihood.above))
    usable = likelihood.excess() > 0
    start = np.log(np.where(usable, likelihood.excess(), 1.0) / np.where(usable, squares, 1.0))
    return np.clip(start, LOWEST, HIGHEST)


def _climb(likelihood: Likelihood, t: Floats, low: Floats, high: Floats) -> Floats:
    """Run Newton steps on the slope inside a shrinking bracket until every slope is zero; NaN where one never is."""
    done = np.zeros(t.shape, np.bool_)
    for _ in range(MOST_STEPS):
        slope, curve = likelihood.slope_and_curve(t)
        low, high = np.where(slope > 0, t, low), np.where(slope > 0, high, t)
        bends = curve < 0
        newton = np.where(bends, -slope / np.where(bends, curve, -1.0), np.copysign(LONGEST_STEP, slope))
        there = t + np.clip(newton, -LONGEST_STEP, LONGEST_STEP)
        last = (np.abs(newton) < LAST_STEP) | (high - low < LAST_STEP)
        inside = last | ((low < there) & (there < high))
        # A group that is done stays where it is: its slope is rounding, and the next step would lead anywhere.
        t = np.where(done, t, np.where(inside, there, (low + high) / 2))
        done |= last
        if done.all():
            break
    return np.where(done, t, np.nan)


def _up_to_factors(a: Floats) -> Floats:
    return np.asarray(a[:, None] * np.arange(1.0, FACTORS), np.float64)


def shortfall(x: Floats) -> Floats:
    """Give 1 - log(1 + x)/x, zero at zero."""
    # With r = x/(2 + x), log(1 + x) = 2 artanh(r): r - r^2 (1 - r) (1/3 + r^2/5 + r^4/7 + ...)
    r = x / (2 + x)
    r2 = r**2
    series = r - r2 * (1 - r) * (1 / 3 + r2 * (1 / 5 + r2 * (1 / 7 + r2 * (1 / 9 + r2 / 11))))
    return np.where(x < SMALL, series, 1 - np.log1p(x) / np.maximum(x, SMALL))


def _area(x: Floats) -> Floats:
    """Give w(x) = (1 + 1/x) log(1 + x) - 1, zero at zero: the area under log(1 + z) from 0 to x, over x."""
    return np.where(x < 1, x - shortfall(x) * (1 + x), (1 + 1 / np.maximum(x, 1.0)) * np.log1p(x) - 1)


def _log_product(y: Floats | float, a: Floats) -> Floats:
    """Give the sum over j < y of log(1 + a j), but for a constant in y, by the series of Euler and Maclaurin."""
    x = a * y
    s = a / (1 + x)
    c = STIRLING
    # y w(a y) - log(1 + a y)/2 + s/12 - s^3/360 + ..., s = a/(1 + a y)
    s2 = s**2
    rest = s * (c[0] + s2 * (c[1] + s2 * (c[2] + s2 * (c[3] + s2 * c[4]))))
    return np.asarray(y * _area(x) - np.log1p(x) / 2 + rest, np.float64)


def _slope_and_curve(y: Floats | float, a: Floats) -> tuple[Floats, Floats]:
    """Give the derivatives of `_log_product` by t = log a."""
    x = a * y
    part = 1 / (1 + x)
    s = a * part
    lost = shortfall(x)
    # With R_i the sum of p^i c_p s^p: d/dt = part R_1, d2/dt2 = part^2 R_2 - part (1 - part) R_1
    c = STIRLING
    s2 = s**2
    once = s * (c[0] + s2 * (3 * c[1] + s2 * (5 * c[2] + s2 * (7 * c[3] + s2 * 9 * c[4]))))
    twice = s * (c[0] + s2 * (9 * c[1] + s2 * (25 * c[2] + s2 * (49 * c[3] + s2 * 81 * c[4]))))
    rate = x * part
    slope = y * lost - rate / 2 + part * once
    curve = y * (rate - lost) - rate * part / 2 + part**2 * twice - part * rate * once
    return np.asarray(slope, np.float64), np.asarray(curve, np.float64)
