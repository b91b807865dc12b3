"""Forecasts against kriging written out, statsmodels' state space models and the AR(1) predictor in closed form."""

import numpy as np
import pytest
import statsmodels.api as sm
from scipy import optimize, stats

from monitoring.analysis.correlated_weeks import WeekScatter
from monitoring.analysis.forecast import forecast
from tests.monitoring.analysis.counts import exactly_known, simulated, weeks_of

AHEAD = (0.0, 1.0, 2.0, 3.0, 6.0)


def scatter(*, stays=0.4, growth=0.12, counting=1.1, shock=0.3, degrees=9.0):
    return WeekScatter(shock=shock, stays=stays, counting=counting, growth=growth, degrees=degrees, k=1.5, farms=200)


def signal(when, other, scatter):
    """Covariance of what two sets of dates share: shocks that last, and growth from any week of a window of eight."""
    starts = range(1, 8)
    shared = np.zeros((len(when), len(other)))
    for i, j in np.ndindex(shared.shape):
        shared[i, j] = scatter.shock**2 * scatter.stays ** abs(when[i] - other[j])
        for start in starts:
            shared[i, j] += scatter.growth**2 * max(when[i] + start, 0) * max(other[j] + start, 0) / len(starts)
    return shared


def kriging(weeks, farm, ahead, scatter):
    """Middle and spread by kriging with an unknown level, as one bordered system of equations.

    [V 1; 1' 0] [w; u] = [c; 1]; middle w'y; variance of what is predicted - 2 w'c + w'V w. Counting is in the weeks,
    and in what a round will count.
    """
    place = np.flatnonzero(weeks.used[farm])
    many, when, effects = len(place), weeks.when[farm][place], weeks.effects[farm][place]
    noise = np.trace(weeks.noise[farm]) / (many - 1)
    known = signal(when, when, scatter) + scatter.counting * weeks.noise[farm][np.ix_(place, place)]
    shared = signal(when, np.array([ahead]), scatter)[:, 0]
    bordered = np.block([[known, np.ones((many, 1))], [np.ones((1, many)), np.zeros((1, 1))]])
    weights = np.linalg.solve(bordered, np.append(shared, 1.0))[:many]
    own = signal(np.array([ahead]), np.array([ahead]), scatter)[0, 0]
    variance = own - 2 * weights @ shared + weights @ known @ weights
    counting = scatter.counting * noise
    variance += counting / many + (counting if ahead > 0 else 0.0)
    level = sm.GLS(effects, np.ones(many), sigma=known).fit()
    scale = (scatter.degrees + level.ssr) / (scatter.degrees + many - 1)
    middle = weeks.base[farm] + weights @ effects + (counting / 2 if ahead == 0 else 0.0)
    return middle, np.sqrt(variance * scale)


@pytest.mark.parametrize("shape", [scatter(), scatter(stays=0.0), scatter(growth=0.0), scatter(shock=0.0)])
def test_kriging_with_an_unknown_level_gives_the_same(shape):
    """NumPy's bordered system and statsmodels' GLS of a level, farms with gaps and lost cards."""
    counts, _ = simulated(np.random.default_rng(3), farms=20)
    counts[::3, :, 2:4] = np.nan
    counts[1::3, :, 7] = np.nan
    weeks = weeks_of(counts)
    ours = forecast(weeks, shape, ahead=AHEAD)
    for farm in range(20):
        theirs = np.array([kriging(weeks, farm, ahead, shape) for ahead in AHEAD])
        np.testing.assert_allclose(ours.middle[farm], theirs[:, 0], atol=1e-6)
        np.testing.assert_allclose(ours.spread[farm], theirs[:, 1], rtol=1e-6)


@pytest.mark.parametrize("stays", [0.0, 0.3, 0.8])
def test_shocks_alone_are_predicted_as_an_ar1_in_closed_form(stays):
    """Textbook (Box and Jenkins, Time Series Analysis; from memory): level + stays^h (last - level), with its variance.

    With the level estimated: the least-squares level of an AR(1) weighs its end points 1 and the others 1 - stays, of n
    - (n - 2) stays in all, and adds (1 - stays^h)^2 times its variance, shock^2 (1 + stays)/(n - (n - 2) stays).
    """
    effects = 0.3 * np.random.default_rng(4).standard_normal((5, 8))
    ours = forecast(exactly_known(effects), scatter(stays=stays, growth=0.0), ahead=AHEAD)
    weight = np.append(np.append(1.0, np.full(6, 1 - stays)), 1.0)
    level = effects @ weight / (8 - 6 * stays)
    keeps = stays ** np.array(AHEAD)
    np.testing.assert_allclose(ours.middle, level[:, None] + keeps * (effects[:, -1:] - level[:, None]), atol=1e-7)
    variance = 0.09 * (1 - keeps**2 + (1 - keeps) ** 2 * (1 + stays) / (8 - 6 * stays))
    off = effects - level[:, None]
    innovations = np.concatenate([off[:, :1], (off[:, 1:] - stays * off[:, :-1]) / np.sqrt(1 - stays**2)], axis=1)
    scale = (9 + (innovations**2).sum(axis=1) / 0.09) / (9 + 7)
    np.testing.assert_allclose(ours.spread[:, 1:], np.sqrt(variance[1:] * scale[:, None]), rtol=1e-6)
    assert (ours.degrees == 16).all()


@pytest.mark.parametrize("stays", [0.2, 0.6])
def test_shocks_and_even_counting_are_predicted_as_a_state_space_model(stays):
    """Statsmodels' UnobservedComponents: fixed level, AR(1), white noise, filtered with a diffuse level.

    Stations counted in every week, in counts so large that each week's log has the variance 1/k a station.
    """
    stations, k = 4, 2.0
    rng = np.random.default_rng(6)
    week = 0.3 * rng.standard_normal(12)
    counts = np.round(1e8 * np.exp(week + 0.4 * rng.standard_normal((stations, 1))))
    weeks, shape = weeks_of(counts, k=k), scatter(stays=stays, growth=0.0, counting=1.0)
    noise = 1 / (k * stations)
    assert weeks.noise_of_a_week[0] == pytest.approx(noise, rel=1e-4)
    model = sm.tsa.UnobservedComponents(
        weeks.effects[0], level=True, irregular=True, autoregressive=1, use_exact_diffuse=True
    )
    given = {"sigma2.irregular": noise, "sigma2.ar": 0.09 * (1 - stays**2), "ar.L1": stays}
    result = model.smooth([given[name] for name in model.param_names])
    theirs = result.get_forecast(6)
    known = 0.09 * stays ** np.abs(np.subtract.outer(np.arange(12), np.arange(12))) + noise * np.eye(12)
    scale = (9 + sm.GLS(weeks.effects[0], np.ones(12), sigma=known).fit().ssr) / (9 + 11)
    ours = forecast(weeks, shape, ahead=(1.0, 2.0, 3.0, 4.0, 5.0, 6.0))
    np.testing.assert_allclose(ours.middle[0] - weeks.base[0], theirs.predicted_mean, atol=1e-5)
    np.testing.assert_allclose(ours.spread[0], theirs.se_mean * np.sqrt(scale), rtol=1e-4)


def test_intervals_and_probabilities_are_those_of_scipys_t():
    weeks = weeks_of(simulated(np.random.default_rng(5), farms=10)[0])
    ours = forecast(weeks, scatter())
    law = stats.t(ours.degrees[:, None], ours.middle, ours.spread)
    low, high = ours.interval(0.8)
    np.testing.assert_allclose(np.log([low, high]), law.interval(0.8), atol=1e-9)
    np.testing.assert_allclose(ours.probability_over(50.0), law.sf(np.log(50.0)), atol=1e-12)


def test_the_growth_that_goes_on_is_the_likeliest_one():
    """SciPy: with a start that is known to be one week, the best growth and shocks of the joint density, by BFGS."""
    effects = np.append(np.zeros(1), np.full(1, 0.8))[None]
    weeks, shape = exactly_known(effects), scatter(stays=0.0, growth=0.2, shock=0.3)
    ours = forecast(weeks, shape, ahead=(1.0, 2.0))

    def minus_log_density(free):
        level, growth = free
        rest = weeks.effects[0] - level - growth * np.array([0.0, 1.0])
        return (rest**2).sum() / (2 * 0.09) + growth**2 / (2 * 0.04)

    level, growth = optimize.minimize(minus_log_density, [0.0, 0.0], tol=1e-12).x
    # Shocks that do not last say nothing of the weeks ahead: level and growth do.
    np.testing.assert_allclose(ours.middle[0] - weeks.base[0], level + growth * np.array([2.0, 3.0]), atol=1e-5)
