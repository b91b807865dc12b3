"""Are there more places with nothing than the mean lets expect?"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from monitoring.analysis.negative_binomial import MOST, checked_counts, shortfall, sizes
from monitoring.analysis.shapes import Floats, Words, refuse

# exp of less would leave the range of floats.
LEAST_LOG = -700.0


@dataclass(frozen=True)
class ZeroClass:
    """The share of zeros in each group, (n_groups,): `observed`, and `expected` from mean and k; NaN without counts."""

    observed: Floats
    expected: Floats


@dataclass(frozen=True)
class KFromZeros:
    """k from the share of zeros, in the shape of the mean; `reason` is as in `k_from_zeros`."""

    k: Floats
    reason: Words


def zero_class(counts: ArrayLike, k: ArrayLike) -> ZeroClass:
    """Compare the share of zeros with what mean and k let expect.

    Parameters
    ----------
    counts : (n_groups, n_values) float -- from 0 to a billion; NaN = missing, and padding. [individuals]
    k : number or (n_groups,) -- above zero; inf = chance alone; NaN = not known.

    Returns
    -------
    ZeroClass -- (n_groups,)

    Notes
    -----
    Many more zeros than expected say that the counts are of two kinds, such as places that flies do not use at all:
    then no k describes them. A missing count is no zero. The expected share is NaN where k is not known.

    Examples
    --------
    >>> zeros = zero_class([[0, 0, 0, 1, 2, 3]], [1.4])
    >>> zeros.observed, zeros.expected.round(2)
    (array([0.5]), array([0.47]))
    """
    y = checked_counts(counts)
    ks = np.broadcast_to(np.asarray(k, np.float64), (len(y),))
    refuse(ks <= 0, "k", "must be above zero")
    values, total = sizes(y)
    some = np.maximum(values, 1)
    mean = total / some
    known = (values > 0) & ~np.isnan(ks)
    # (k/(k + m))^k = exp(-m log(1 + x)/x), x = m/k
    log_zero = -mean * (1 - shortfall(mean / np.where(known, ks, 1.0)))
    return ZeroClass(
        observed=np.where(values > 0, (y == 0).sum(axis=1) / some, np.nan),
        expected=np.where(known, np.exp(np.maximum(log_zero, LEAST_LOG)), np.nan),
    )


def k_from_zeros(mean: ArrayLike, zero_share: ArrayLike) -> KFromZeros:
    """Give the k at which a mean goes with a share of zeros.

    Parameters
    ----------
    mean : array -- from 0 to a billion; NaN = not known. [individuals]
    zero_share : array of that shape -- from 0 to 1; below 1 where the mean is above zero; NaN = not known.

    Returns
    -------
    KFromZeros -- `reason` is "" where k is a number, "no_overdispersion" where there are no more zeros than chance lets
    expect (k is inf); k is NaN for "no_counts" (mean or share not known), "all_zero", and "no_zeros" (a share of zero
    says only that k is not small).

    Raises ValueError for what lies outside these ranges.

    Notes
    -----
    Solves (1 + m/k)^-k = p. It uses nothing but the mean and the zeros: good for published figures, or where high
    counts were cut off; else maximum likelihood is better.

    References
    ----------
    Lysyk and Schaalje 1992, J Econ Entomol 85: 47 % of legs without stable flies at a mean of 1 a leg.

    Examples
    --------
    >>> k_from_zeros([1.0], [0.47]).k.round(1)
    array([1.4])
    """
    m, p = np.broadcast_arrays(np.asarray(mean, np.float64), np.asarray(zero_share, np.float64))
    refuse(np.atleast_1d((m < 0) | (m > MOST)), "mean", "must lie from 0 to a billion")
    refuse(np.atleast_1d((p < 0) | (p > 1)), "zero_share", "must lie from 0 to 1")
    refuse(np.atleast_1d((p == 1) & (m > 0)), "zero_share", "must be below 1 where the mean is above zero")
    refuse(np.atleast_1d((p < 1) & (m == 0)), "zero_share", "must be 1 where the mean is zero")
    some = (m > 0) & (p > 0)
    # c = -log(p)/m, so that log(1 + x)/x = c with x = m/k
    c = -np.log(np.where(some, p, 1.0)) / np.where(some, m, 1.0)
    more = some & (c < 1)
    k = np.where(more, np.where(more, m, 1.0) / _ratio_of_zeros(np.where(more, c, 0.5)), np.inf)
    why = [np.isnan(m) | np.isnan(p), m == 0, p == 0, ~more]
    reason = np.select(why, ["no_counts", "all_zero", "no_zeros", "no_overdispersion"], default="")
    return KFromZeros(np.where((reason == "") | (reason == "no_overdispersion"), k, np.nan), reason)


def _ratio_of_zeros(c: Floats) -> Floats:
    """Solve log(1 + x)/x = c for x > 0, c between 0 and 1."""
    # x = -1 - W(-c exp(-c))/c on the lower branch; near c = 1 that has no digits left, but x is never below 2 (1 - c)
    x = np.fmax(-1 - special.lambertw(-c * np.exp(-c), -1).real / c, 2 * (1 - c))
    for _ in range(3):
        # Newton on d(x) = 1 - log(1 + x)/x, d' = (x/(1 + x) - d)/x
        lost = shortfall(x)
        x = x * (1 - (lost - (1 - c)) / (x / (1 + x) - lost))
    return np.asarray(x, np.float64)
