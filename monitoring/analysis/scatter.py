"""How unevenly do counts scatter?"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike

from monitoring.analysis.negative_binomial import (
    Likelihood,
    checked_counts,
    likeliest_alone,
    likeliest_shared,
    likelihood_of,
    sizes,
)
from monitoring.analysis.shapes import Bools, Floats, Ints, Words, refuse, refuse_outside, refuse_unlike

# What the adjustment for means taken from the same counts adds: this part of log(1 + m/k) for each group.
COX_REID = 0.5


@dataclass(frozen=True)
class MomentsK:
    """k by moments; arrays are (n_groups,).

    `k` is m^2/(s^2 - m), inf where s^2 <= m. `mean` is NaN without counts, `variance` (n - 1 below the line) with fewer
    than two. `values` is the number of counts. `reason` is as in `FittedK`.
    """

    k: Floats
    mean: Floats
    variance: Floats
    values: Ints
    reason: Words


@dataclass(frozen=True)
class FittedK:
    """k by maximum likelihood; arrays are (n_groups,), or (n_owners,) where groups share a k.

    `reason` is "" where k is a number; "no_overdispersion" where the counts scatter no more than by chance and k is
    inf, which is a result like the others; and where k is NaN "no_counts", "too_few_counts" (no group has two),
    "all_zero" or "not_converged" (not known to happen; the bench counts it). `standard_error` is from the observed
    information, NaN unless `reason` is ""; it is one of a lopsided estimate: an interval belongs on the scale of log k,
    where it is standard_error / k. `minus_two_log_likelihood` is NaN where there is no k. `values` is the number of
    counts.
    """

    k: Floats
    standard_error: Floats
    minus_two_log_likelihood: Floats
    values: Ints
    reason: Words


def k_by_moments(counts: ArrayLike) -> MomentsK:
    """Give the negative binomial's k of every group by moments.

    Parameters
    ----------
    counts : (n_groups, n_values) float -- from 0 to a billion, not necessarily whole; NaN = missing, and padding.
        [individuals]

    Returns
    -------
    MomentsK

    Raises ValueError where counts are negative, infinite or above a billion, or have not two axes.

    Notes
    -----
    The variance of a count is m + m^2/k: a small k is uneven, an infinite one as even as chance alone allows. A zero is
    a count; a missing one is in no sum.

    References
    ----------
    Bliss and Fisher 1953, Fitting the negative binomial distribution to biological data, Biometrics 9:176-200.

    Examples
    --------
    >>> k_by_moments([[0, 2, 4, 10], [3, 3, 3, np.nan]]).k.round(4)
    array([1.0909,    inf])
    """
    y = checked_counts(counts)
    values, total = sizes(y)
    mean = np.where(values > 0, total / np.maximum(values, 1), np.nan)
    off = np.where(np.isnan(y), 0.0, y - mean[:, None])
    variance = np.where(values > 1, (off**2).sum(axis=1) / np.maximum(values - 1, 1), np.nan)
    more = variance > mean
    # Bliss and Fisher 1953: k = m^2 / (s^2 - m)
    k = np.where(more, mean**2 / np.where(more, variance - mean, 1.0), np.inf)
    alone = np.arange(len(y))
    reason = _reasons(y, alone, len(y), more)
    return MomentsK(_known(k, reason), mean, variance, values, reason)


def k_by_likelihood(counts: ArrayLike) -> FittedK:
    """Give the negative binomial's k of every group by maximum likelihood, all groups at once.

    Parameters
    ----------
    counts : (n_groups, n_values) float -- whole numbers from 0 to a billion; NaN = missing, and padding. [individuals]

    Returns
    -------
    FittedK -- (n_groups,)

    Raises ValueError where counts are negative, infinite, above a billion or not whole, or have not two axes.

    Notes
    -----
    The likeliest mean is the sample mean whatever k is, so that only k is looked for. The likelihood has one maximum,
    finite where the sum of (y - m)^2 is above n m and else at infinity. A zero is a count; a missing one is in no sum.

    With few counts k comes out too high, as a variance without n - 1 comes out too low: pool groups and use
    `shared_k_adjusted` where a k is to be used further.

    References
    ----------
    Bliss and Fisher 1953, Fitting the negative binomial distribution to biological data, Biometrics 9:176-200. Levin
    and Reeds 1977, Compound multinomial likelihood functions are unimodal, Ann Stat 5:79-87 (from memory).

    Examples
    --------
    >>> mites = np.repeat(np.arange(8), [70, 38, 17, 10, 9, 3, 2, 1])
    >>> fitted = k_by_likelihood([mites])
    >>> fitted.k.round(4), fitted.standard_error.round(4), fitted.minus_two_log_likelihood.round(4)
    (array([1.0246]), array([0.2759]), array([444.8743]))
    """
    y = checked_counts(counts, whole=True)
    alone = np.arange(len(y))
    likelihood = likelihood_of(y, alone, len(y))
    return _fitted(y, alone, likelihood, likeliest_alone(likelihood))


def shared_k(counts: ArrayLike, owner: ArrayLike, n_owners: int) -> FittedK:
    """Give one k for all groups of an owner, each with its own mean, by maximum likelihood.

    Parameters
    ----------
    counts : (n_groups, n_values) float -- whole numbers from 0 to a billion; NaN = missing, and padding. [individuals]
    owner : (n_groups,) int -- whose group it is, from 0.
    n_owners : int

    Returns
    -------
    FittedK -- (n_owners,)

    Raises ValueError as `k_by_likelihood` does, and for an owner outside 0 to n_owners - 1.

    Notes
    -----
    Of several maxima the highest is given. Groups of zeros say nothing about k. Groups of one count say nothing either,
    but the likelihood takes each for a sign of evenness.

    Every group's mean is taken from the same counts, so this k is too high, however many groups there are: with a true
    k of 1.4 groups of twelve counts of mean 10 give 1.55, groups of five 1.8 (simulated; the test prints it). It is the
    maximum of the likelihood, for comparing models. Where a k is to be used further take `shared_k_adjusted`.

    Examples
    --------
    >>> shared_k([[0, 1, 5, 2], [10, 48, 3, 29]], [0, 0], 1).k.round(4)
    array([1.4534])
    """
    return _shared(counts, owner, n_owners, adjusted=0.0)


def shared_k_adjusted(counts: ArrayLike, owner: ArrayLike, n_owners: int) -> FittedK:
    """Give one k for all groups of an owner, adjusted for the means having been taken from the same counts.

    Parameters and result are as in `shared_k`; `minus_two_log_likelihood` is that of the counts at this k.

    Notes
    -----
    What is maximised is log L minus half the log of the information on the log means, which adds log(1 + m/k)/2 for
    each group. It does for k what n - 1 does for a variance: k is inf where the s^2 of the groups, each with its n - 1,
    are no more than their means. Groups of one count are left out. With a true k of 1.4, groups of twelve and of five
    counts of mean 10 give 1.4 (simulated; the test prints it).

    References
    ----------
    Cox and Reid 1987, Parameter orthogonality and approximate conditional inference, J R Stat Soc B 49:1-39 (from
    memory).

    Examples
    --------
    >>> shared_k_adjusted([[0, 1, 5, 2], [10, 48, 3, 29]], [0, 0], 1).k.round(4)
    array([1.0588])
    """
    return _shared(counts, owner, n_owners, adjusted=COX_REID)


def log_likelihood(counts: ArrayLike, k: ArrayLike) -> Floats:
    """Give the log likelihood of every group at a k, with its sample mean.

    Parameters
    ----------
    counts : (n_groups, n_values) float -- whole numbers from 0 to a billion; NaN = missing, and padding. [individuals]
    k : number or (n_groups,) -- from 1e-10 to 1e30, or inf for chance alone.

    Returns
    -------
    (n_groups,) float -- 0 for a group without counts.

    Examples
    --------
    >>> log_likelihood([[0, 2, 4, 10]], 1.0).round(4)
    array([-10.008])
    """
    y = checked_counts(counts, whole=True)
    ks = np.broadcast_to(np.asarray(k, np.float64), (len(y),))
    refuse(~((ks >= 1e-10) & ((ks <= 1e30) | np.isinf(ks))), "k", "must lie from 1e-10 to 1e30, or be infinite")
    return _log_likelihood(likelihood_of(y, np.arange(len(y)), len(y)), ks)


def _known(k: Floats, reason: Words) -> Floats:
    return np.where((reason == "") | (reason == "no_overdispersion"), k, np.nan)


def _reasons(y: Floats, owner: Ints, n_owners: int, more: Bools) -> Words:
    """Say why there is no k that is a number, "" where there is one."""
    values, total = sizes(y)

    def any_group(which: Bools) -> Bools:
        return np.asarray(np.bincount(owner[which], minlength=n_owners) > 0, np.bool_)

    why = [
        ~any_group(values > 0),
        any_group(values > 1) & ~any_group(total > 0),
        ~any_group((values > 1) & (total > 0)),
        ~more,
    ]
    return np.select(why, ["no_counts", "all_zero", "too_few_counts", "no_overdispersion"], default="")


def _shared(counts: ArrayLike, owner: ArrayLike, n_owners: int, *, adjusted: float) -> FittedK:
    y, whose = checked_counts(counts, whole=True), np.asarray(owner, np.int64)
    refuse_unlike(whose, (len(y),), "owner")
    refuse_outside(whose, n_owners, "owner")
    # One count beside its own mean tells nothing about k; the adjustment would take away most of its pull, not all.
    tells = np.where((sizes(y)[0] > 1)[:, None], y, np.nan) if adjusted else y
    likelihood = replace(likelihood_of(tells, whose, n_owners), adjusted=adjusted)
    return _fitted(y, whose, likelihood, likeliest_shared(likelihood))


def _fitted(y: Floats, owner: Ints, likelihood: Likelihood, t: Floats) -> FittedK:
    reason = _reasons(y, owner, len(t), ~np.isneginf(t))
    reason = np.where((reason == "") & np.isnan(t), "not_converged", reason)
    found = reason == ""
    k = np.where(found, np.exp(-np.where(found, t, 0.0)), np.inf)
    _, curve = likelihood.slope_and_curve(np.where(found, t, 0.0))
    # The observed information on log k is minus the curve; a standard error of log k times k is one of k.
    error = np.where(found, k, 1.0) / np.sqrt(np.where(found, -curve, 1.0))
    known = _known(k, reason)
    at = np.where(np.isnan(known), np.inf, known)
    return FittedK(
        k=known,
        standard_error=np.where(found, error, np.nan),
        minus_two_log_likelihood=np.where(np.isnan(known), np.nan, -2 * _log_likelihood(likelihood, at)),
        values=np.bincount(owner, sizes(y)[0], len(t)).astype(np.int64),
        reason=reason,
    )


def _log_likelihood(likelihood: Likelihood, k: Floats) -> Floats:
    chance = np.isinf(k)
    gain = replace(likelihood, adjusted=0.0).gain(-np.log(np.where(chance, 1.0, k)))
    return np.where(chance, 0.0, gain) + likelihood.poisson
