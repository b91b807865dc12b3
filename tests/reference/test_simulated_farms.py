"""Simulated networks have the distributions they claim, by SciPy and statsmodels."""

import numpy as np
import pytest
from scipy import stats
from statsmodels.tsa.stattools import acovf

from monitoring.analysis.simulated_farms import Network, lasting, mixed_growth, rise_of, simulate_farms


@pytest.mark.parametrize(("k", "level"), [(0.8, 3.0), (1.5, 40.0), (50.0, 10.0)])
def test_counts_of_like_places_are_negative_binomial(k, level):
    """SciPy's nbinom: chi-square of 60,000 counts over classes of about a tenth each; variance m + m^2/k."""
    network = Network(stations=5, shock=0.0, k=k, level=level, places=0.0)
    counts = simulate_farms(np.random.default_rng(1), network, 2000, 6, np.zeros(6)).counts.ravel()
    law = stats.nbinom(k, k / (k + level))
    edges = np.unique(law.ppf(np.arange(1, 10) / 10))
    seen = np.bincount(np.searchsorted(edges, counts), minlength=len(edges) + 1)
    expected = np.diff(np.concatenate([[0.0], law.cdf(edges), [1.0]])) * len(counts)
    assert stats.chisquare(seen, expected).pvalue > 0.001
    assert counts.var() == pytest.approx(level + level**2 / k, rel=0.06)


@pytest.mark.parametrize("stays", [0.0, 0.5, 0.9])
def test_weather_lasts_as_an_ar1(stays):
    """Statsmodels' autocovariances of one long series: stays^lag, variance 1."""
    series = lasting(np.random.default_rng(2), (1, 200_000), stays)[0]
    np.testing.assert_allclose(acovf(series, nlag=4, fft=True), stays ** np.arange(5), atol=0.05)


def test_every_week_of_a_window_has_the_same_variance():
    """SciPy: first and last week of shocks are standard normal alike, however long the weather lasts."""
    shocks = lasting(np.random.default_rng(3), (20_000, 12), 0.8)
    for week in (0, 5, 11):
        assert stats.kstest(shocks[:, week], "norm").pvalue > 0.001


def test_places_are_log_normal_and_farms_shocks_unlike():
    """SciPy's Kolmogorov-Smirnov test of the logs."""
    farms = simulate_farms(np.random.default_rng(4), Network(unlike=0.5, shock=0.2), 4000, 2, np.zeros(2))
    places = (farms.places[:, 0] - np.log(40)) / 0.6
    assert stats.kstest(places, "norm").pvalue > 0.001
    assert stats.kstest((np.log(farms.shocks) - np.log(0.2)) / 0.5, "norm").pvalue > 0.001


def test_lost_cards_are_binomial():
    network = Network(missing=0.2)
    counts = simulate_farms(np.random.default_rng(5), network, 500, 8, np.zeros(8)).counts
    assert stats.binomtest(int(np.isnan(counts).sum()), counts.size, 0.2).pvalue > 0.001


def test_four_level_three_rising_three_falling_of_ten():
    """SciPy's chi-square test of the shares, and growth uniform between .05 and .35 a week."""
    growth, kind = mixed_growth(np.random.default_rng(6), 20_000, 8, ahead=2)
    seen = [(kind == each).sum() for each in ("level", "rising", "falling")]
    assert stats.chisquare(seen, np.array([0.4, 0.3, 0.3]) * 20_000).pvalue > 0.001
    step = np.diff(growth, axis=1)[:, -1]
    assert stats.kstest(step[kind == "rising"], stats.uniform(0.05, 0.3).cdf).pvalue > 0.001
    assert stats.kstest(-step[kind == "falling"], stats.uniform(0.05, 0.3).cdf).pvalue > 0.001
    assert (step[kind == "level"] == 0).all()


def test_a_rise_doubles_every_two_weeks():
    """By hand: 2^(1/2) a week, so 2, 2 sqrt 2 and 4 times after two, three and four weeks."""
    np.testing.assert_allclose(np.exp(rise_of(8, lasts=4))[-4:], 2 ** np.array([0.5, 1.0, 1.5, 2.0]), rtol=1e-12)
