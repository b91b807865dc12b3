"""The negative binomial by statsmodels, one group at a time, and its likelihood written out: for tests and bench.

statsmodels is a general-purpose library: NegativeBinomial (variance m + alpha m^2) with a constant, by its default
search (BFGS). Its own log likelihood takes log gamma(1/alpha) from its like and so loses digits where k is large, so
what it found is valued here by the sum over single factors, in twice the digits where there are any.
"""

import warnings
from dataclasses import dataclass
from typing import Any

import numpy as np
import statsmodels.api as sm
from scipy import special


@dataclass(frozen=True)
class ByStatsmodels:
    """What one search found: mean, alpha = 1/k, its standard error, and whether it says that it converged."""

    mean: float
    alpha: float
    alpha_error: float
    converged: bool


def fit(counts: np.ndarray[Any, Any]) -> ByStatsmodels:
    """Search the likeliest mean and alpha of one group without missing counts."""
    with warnings.catch_warnings(), np.errstate(all="ignore"):
        # It warns wherever it does not converge or can't invert its Hessian; whether it did is in its result.
        warnings.simplefilter("ignore")
        found = sm.NegativeBinomial(counts, np.ones(len(counts))).fit(disp=0)
        mean, alpha = np.exp(found.params[0]), found.params[1]
        return ByStatsmodels(float(mean), float(alpha), float(found.bse[1]), bool(found.mle_retvals["converged"]))


def log_likelihood(counts: np.ndarray[Any, Any], mean: float, alpha: float) -> float:
    """Sum log(1 + alpha j) over j below each count, y log m - log y! - (y + 1/alpha) log(1 + alpha m)."""
    y = counts.astype(np.longdouble)
    m, a = np.longdouble(mean), np.longdouble(alpha)
    factors = sum((np.log1p(a * np.arange(int(each))).sum() for each in counts), np.longdouble(0))
    rest = y * np.log(m) - special.gammaln(counts + 1.0) - (y + 1 / a) * np.log1p(a * m)
    return float(factors + rest.sum())


def groups(*, number: int, most: int = 40, seed: int = 20260601) -> np.ndarray[Any, Any]:
    """Invented counts (number, most), NaN = no count: k from 0.05 to 100, means from 0.1 to 2,000, 2 counts to `most`.

    From nearly all zero to no more uneven than chance; a fly at least in every group, as statsmodels needs.
    """
    rng = np.random.default_rng(seed)
    k, mean = np.exp(rng.uniform(np.log(0.05), np.log(100), number)), np.exp(rng.uniform(-2.3, 7.6, number))
    with np.errstate(under="ignore"):
        counts = rng.poisson(rng.gamma(k[:, None], (mean / k)[:, None], (number, most))).astype(np.float64)
    counts[:, 0] += counts.sum(axis=1) == 0
    counts[np.arange(most) >= rng.integers(2, most + 1, number)[:, None]] = np.nan
    counts[:, 0] += np.nansum(counts, axis=1) == 0
    return counts
