"""Stations shrunk towards the farm against statsmodels, SciPy's quadrature and distributions, and a closed form."""

import numpy as np
import pandas as pd
import pytest
import statsmodels.formula.api as smf
from scipy import integrate, stats

from monitoring.analysis.station_effects import BETWEEN, WORTH, station_effects
from monitoring.analysis.week_effects import week_effects

K = 1.5


def farm(rng, *, stations=9, weeks=8, k=K, level=40.0, missing=0.25):
    """One farm's counts, (1, stations, weeks), stations log sd 0.6, weeks log sd 0.3."""
    log_mean = 0.6 * rng.standard_normal((stations, 1)) + 0.3 * rng.standard_normal((1, weeks))
    with np.errstate(under="ignore"):
        counts = rng.poisson(rng.gamma(k, level * np.exp(log_mean) / k)).astype(float)
    counts[rng.random(counts.shape) < missing] = np.nan
    return counts[None]


def posterior_by_quadrature(counts, weeks, middle, between, k):
    """Mean and standard deviation of one station's log rate a day, by SciPy's quadrature and distributions."""
    there = ~np.isnan(counts)

    def density(level):
        mean = 7 * np.exp(level + weeks[there])
        log_counts = stats.nbinom.logpmf(counts[there], k, k / (k + mean)).sum()
        return np.exp(log_counts + stats.norm.logpdf(level, middle, between))

    around = middle + np.linspace(-4, 4, 81)
    moments = [
        integrate.quad(
            lambda level, power=power: density(level) * level**power,
            around[0], around[-1], points=around[20:60:10], limit=200, epsabs=0, epsrel=1e-9,
        )[0]
        for power in range(3)
    ]  # fmt: skip
    mean = moments[1] / moments[0]
    return mean, np.sqrt(moments[2] / moments[0] - mean**2)


def test_posteriors_are_those_of_quadrature():
    """C: the farm's level is the mean of its stations' posterior means; from there SciPy's quad of SciPy's nbinom."""
    counts = farm(np.random.default_rng(1), stations=5)
    found = station_effects(counts, np.full(counts.shape, 7.0), K)
    weeks, between = week_effects(counts, np.full(counts.shape, 7.0), K).effects[0], found.between[0]
    middle = np.log(np.nanmean(counts) / 7)
    for _ in range(12):
        told = np.array([posterior_by_quadrature(row, weeks, middle, between, K) for row in counts[0]])
        middle = told[:, 0].mean()
    np.testing.assert_allclose(found.effect[0], told[:, 0] - middle, atol=2e-4)
    np.testing.assert_allclose(found.spread[0], told[:, 1], rtol=2e-3)


def test_the_variance_between_stations_is_where_it_stays():
    """C: the fixed point that is stated: (4 x 0.6^2 + posterior squares) / (4 + stations)."""
    counts = farm(np.random.default_rng(2), stations=30)
    found = station_effects(counts, np.full(counts.shape, 7.0), K)
    squares = (found.effect[0] ** 2 + found.spread[0] ** 2).sum()
    assert found.between[0] ** 2 == pytest.approx((WORTH * BETWEEN**2 + squares) / (WORTH + 30), rel=1e-4)


def test_with_good_counts_it_is_the_closed_form_of_a_normal_mean():
    """Morris 1983, J Amer Stat Assoc 78:47-55 (M): the mean shrunk by v / (v + between^2), spread sqrt of v (1 - that).

    Poisson counts of 400 a station are close to Gaussian logs with variance 1 over their sum.
    """
    rng = np.random.default_rng(3)
    truth = 0.1 * rng.standard_normal(12)
    counts = rng.poisson(50 * np.exp(np.tile(truth[:, None], (1, 8)))).astype(float)[None]
    found = station_effects(counts, np.full(counts.shape, 7.0), np.inf)
    fit = week_effects(counts, np.full(counts.shape, 7.0), np.inf)
    noise = 1 / counts[0].sum(axis=1)
    kept = found.between[0] ** 2 / (found.between[0] ** 2 + noise)
    middle = fit.stations[0].mean()
    closed = middle + kept * (fit.stations[0] - middle)
    np.testing.assert_allclose(found.effect[0], closed - closed.mean(), atol=2e-3)
    np.testing.assert_allclose(found.spread[0], np.sqrt(noise * kept), rtol=0.01)


def test_statsmodels_mixed_model_of_the_logs_says_the_same():
    """Statsmodels' MixedLM, stations random, weeks fixed, on logs of high counts; some stations counted only once."""
    rng = np.random.default_rng(4)
    counts = farm(rng, stations=40, k=20.0, level=5_000.0, missing=0.3)
    counts[0, :8, 1:] = np.nan
    found = station_effects(counts, np.full(counts.shape, 7.0), 20.0)
    table = pd.DataFrame(
        [(np.log(counts[0, i, t]), i, t) for i in range(40) for t in range(8) if not np.isnan(counts[0, i, t])],
        columns=["log", "station", "week"],
    )
    fit = smf.mixedlm("log ~ C(week)", table, groups="station").fit(reml=True)
    effects = pd.Series({station: float(row.iloc[0]) for station, row in fit.random_effects.items()})
    ours = pd.Series(found.effect[0])[effects.index]
    assert float(np.sqrt(fit.cov_re.iloc[0, 0])) == pytest.approx(found.between[0], rel=0.05)
    assert np.corrcoef(effects, ours)[0, 1] > 0.999
    np.testing.assert_allclose(ours - ours.mean(), effects - effects.mean(), atol=0.05)


def posteriors_on_a_grid(counts, weeks, between):
    """Each station's posterior weights on a fine grid, by SciPy's distributions; the grid."""
    grid = np.log(np.nanmean(counts) / 7) + np.linspace(-4, 4, 4_001)
    mean = 7 * np.exp(grid[:, None] + weeks[None, :])
    rows = [~np.isnan(row) for row in counts]
    log_counts = np.array(
        [
            stats.nbinom.logpmf(row[there], K, K / (K + mean[:, there])).sum(axis=1)
            for row, there in zip(counts, rows, strict=True)
        ]
    )
    middle = grid[2_000]
    for _ in range(50):
        log_density = log_counts + stats.norm.logpdf(grid, middle, between)
        weight = np.exp(np.maximum(log_density - log_density.max(axis=1, keepdims=True), -300))
        weight /= weight.sum(axis=1, keepdims=True)
        middle = float((weight @ grid).mean())
    return weight, grid


def test_probabilities_of_rank_are_those_of_drawing():
    """C: 200,000 draws from posteriors made here again, on a finer grid, with SciPy's distributions."""
    rng = np.random.default_rng(5)
    counts = farm(rng, stations=8)
    found = station_effects(counts, np.full(counts.shape, 7.0), K)
    weeks = week_effects(counts, np.full(counts.shape, 7.0), K).effects[0]
    weight, grid = posteriors_on_a_grid(counts[0], weeks, found.between[0])
    # Uniform draws within a step of the grid, so that there are no ties.
    draws = np.array([rng.choice(grid, 200_000, p=each) + rng.uniform(-1e-3, 1e-3, 200_000) for each in weight])
    rank = (-draws).argsort(axis=0).argsort(axis=0)
    assert found.worst[0] == 2
    np.testing.assert_allclose(found.highest[0], (rank == 0).mean(axis=1), atol=0.006)
    np.testing.assert_allclose(found.among_worst[0], (rank < 2).mean(axis=1), atol=0.006)


def test_the_ends_of_an_interval_are_its_quantiles():
    """C: from the same finer grid."""
    counts = farm(np.random.default_rng(6))
    found = station_effects(counts, np.full(counts.shape, 7.0), K)
    weeks = week_effects(counts, np.full(counts.shape, 7.0), K).effects[0]
    weight, grid = posteriors_on_a_grid(counts[0], weeks, found.between[0])
    usual = (weight @ grid).mean()
    below = np.cumsum(weight, axis=1)
    for level, (low, high) in {0.95: (0.025, 0.975), 0.8: (0.1, 0.9)}.items():
        ends = found.interval(level)
        for point, told in zip((low, high), ends, strict=True):
            quantile = [grid[np.searchsorted(row, point)] for row in below]
            np.testing.assert_allclose(told[0], np.array(quantile) - usual, atol=0.005)
