"""One k for a network against the same moments from statsmodels' fits, and its likelihood."""

import numpy as np
import pytest
import statsmodels.api as sm
from scipy import optimize, stats

from monitoring.analysis.pooled_k import pooled_k
from tests.reference import trend_by_statsmodels as reference


def network(k, *, farms=25, stations=6, weeks=8, seed=1):
    rng = np.random.default_rng(seed)
    level = np.exp(rng.normal(3.5, 0.6, (farms, stations, 1)) + rng.normal(0, 0.3, (farms, 1, weeks)))
    days = rng.integers(5, 10, (farms, stations, weeks)).astype(float)
    counts = rng.poisson(rng.gamma(k, level * days / 7 / k)).astype(float)
    counts[rng.random(counts.shape) < 0.1] = np.nan
    return counts, days


@pytest.mark.parametrize("k", [0.6, 1.5, 8.0])
def test_at_this_k_the_squares_add_up_to_what_it_gives(k):
    """Statsmodels' GLM of each farm: the sum of (y - m)^2, for the parameters fitted, is the sum of m + m^2/k."""
    counts, days = network(k)
    found = pooled_k(counts, days)
    squares = first = second = cells = parameters = 0.0
    for farm in range(len(counts)):
        design = reference.design(reference.prepared(counts[farm], days[farm]))
        fit = reference.glm(design, found, **reference.TIGHT)
        squares += ((design.count - fit.fittedvalues) ** 2).sum()
        first, second = first + fit.fittedvalues.sum(), second + (fit.fittedvalues**2).sum()
        cells, parameters = cells + len(design.count), parameters + design.columns.shape[1]
    # Three rounds come close to the k that gives itself.
    assert found == pytest.approx(second / (squares * cells / (cells - parameters) - first), rel=0.03)


def test_it_is_near_the_likeliest_k(capsys):
    """SciPy's nbinom, with the means of statsmodels' fits: near, since by moments; both are told."""
    counts, days = network(1.5, farms=60)
    found = pooled_k(counts, days)
    designs = [reference.design(reference.prepared(counts[farm], days[farm])) for farm in range(len(counts))]
    fits = [reference.glm(design, found, **reference.TIGHT) for design in designs]
    means, seen = np.concatenate([fit.fittedvalues for fit in fits]), np.concatenate([each.count for each in designs])

    def minus_log_likelihood(log_k):
        k = np.exp(log_k)
        return -stats.nbinom(k, k / (k + means)).logpmf(seen).sum()

    likeliest = np.exp(optimize.minimize_scalar(minus_log_likelihood, bounds=(-2, 4), method="bounded").x)
    with capsys.disabled():
        print(
            f"\nk of a network drawn with 1.5: by moments {found:.2f}, likeliest about the same means {likeliest:.2f}"
        )
    assert found == pytest.approx(likeliest, rel=0.2)


def test_counts_that_chance_alone_scatters_have_the_largest_k():
    """statsmodels: the Poisson fit's Pearson chi-square over its degrees of freedom is about 1 on the same counts."""
    rng = np.random.default_rng(2)
    counts = rng.poisson(20.0, (40, 5, 8)).astype(float)
    design = reference.design(reference.prepared(counts[0], np.full((5, 8), 7.0)))
    fit = sm.GLM(design.count, design.columns, family=sm.families.Poisson(), offset=design.log_days).fit()
    assert 0.5 < fit.pearson_chi2 / fit.df_resid < 1.8
    assert pooled_k(counts, np.full(counts.shape, 7.0)) > 20
