"""How weeks scatter: restricted maximum likelihood and degrees of freedom against SciPy and statsmodels."""

from dataclasses import dataclass
from functools import cache

import numpy as np
import pytest
import statsmodels.api as sm
from scipy import optimize, special, stats

from monitoring.analysis.farm_weeks import farm_weeks_from
from monitoring.analysis.simulated_farms import Network, mixed_growth, simulate_farms
from monitoring.analysis.week_scatter import fit_week_scatter
from tests.monitoring.analysis.counts import NONE, K, exactly_known

# Beliefs of the module, in -2 log likelihood: five farms' worth, counting about 1 (log sd .2), stays about a third.
FARMS_OF_BELIEF, COUNTING_SD, STAYS_ABOUT, STAYS_SD, LARGEST_STAYS = 5.0, 0.2, 0.35, 0.5, 0.95
MOST_DEGREES = 200.0


@dataclass(frozen=True)
class Case:
    """A network of farms: how many, over how many weeks, with how many sets of missing weeks, how it was drawn."""

    farms: int
    weeks: int
    gaps: int
    network: Network
    seed: int
    changing: bool = True

    def weeks_of(self):
        rng = np.random.default_rng(self.seed)
        growth = mixed_growth(rng, self.farms, self.weeks)[0] * self.changing
        with np.errstate(under="ignore"):
            farms = simulate_farms(rng, self.network, self.farms, self.weeks, growth)
        counts = farms.counts
        for farm in range(self.farms):
            if self.gaps and farm % (self.gaps + 1):
                counts[farm, :, 1 + farm % (self.gaps + 1)] = NONE
        return farm_weeks_from(counts, farms.days, np.arange(self.weeks) * 7.0, K)


CASES = {
    "weather lasts": Case(60, 8, 2, Network(shock=0.3, stays=0.4, missing=0.1), 1),
    "twelve weeks": Case(120, 12, 3, Network(shock=0.3, stays=0.4), 1),
    "unlike farms": Case(100, 8, 0, Network(shock=0.15, stays=0.4, unlike=0.5), 1),
}


@cache
def fitted(name):
    weeks = CASES[name].weeks_of()
    return weeks, fit_week_scatter(weeks, K)


def mean_of_changes(when):
    """Mean over starts (every date but the last) of what a growth of 1 a week since then makes of the covariance."""
    total = np.zeros((len(when), len(when)))
    for start in when[:-1]:
        change = np.array([max(date - start, 0.0) for date in when])
        total += np.outer(change, change) / (len(when) - 1)
    return total


def covariance(when, noise, shock, stays, counting, growth):
    apart = np.array([[abs(one - other) for other in when] for one in when])
    known = counting * noise + growth**2 * mean_of_changes(when) + 1e-9 * np.eye(len(when))
    return shock**2 * stays**apart + known


@dataclass(frozen=True)
class BruteForce:
    """-2 log likelihood of differences from week to week, farm by farm, by SciPy's multivariate normal.

    Farms with the same weeks share their mean counting noise, as the module says. Differences are other contrasts than
    the module's: the restricted likelihood is the same for all, up to a constant.
    """

    groups: list

    @classmethod
    def of(cls, weeks):
        groups = []
        for pattern in np.unique(weeks.used, axis=0):
            rows = np.flatnonzero((weeks.used == pattern).all(axis=1))
            place = np.flatnonzero(pattern)
            differences = np.diff(weeks.effects[rows][:, place], axis=1)
            noise = weeks.noise[rows][:, place][:, :, place].mean(axis=0)
            groups.append((differences, weeks.when[rows][:, place].mean(axis=0), noise))
        return cls(groups)

    def __call__(self, shock, stays, counting, growth):
        belief = (np.log(counting) / COUNTING_SD) ** 2 + (
            (np.arctanh(stays / LARGEST_STAYS) - STAYS_ABOUT) / STAYS_SD
        ) ** 2
        total = FARMS_OF_BELIEF * belief
        for differences, when, noise in self.groups:
            contrast = np.diff(np.eye(len(when)), axis=0)
            together = contrast @ covariance(when, noise, shock, stays, counting, growth) @ contrast.T
            total -= 2 * stats.multivariate_normal(np.zeros(len(contrast)), together).logpdf(differences).sum()
        return float(total)

    def least(self, start):
        """Search from a start: log shock, a free number for stays, log counting, log growth."""

        def natural(free):
            return np.exp(free[0]), LARGEST_STAYS * np.tanh(abs(free[1])), np.exp(free[2]), np.exp(free[3])

        options = {"xatol": 1e-7, "fatol": 1e-9, "maxiter": 4000}
        found = optimize.minimize(lambda free: self(*natural(free)), start, method="Nelder-Mead", options=options)
        return found.fun, natural(found.x)


def before_scaling(scatter, likelihood):
    """Give the likeliest shape (shock, stays, counting, growth) of which the scatter is a multiple, and its value.

    The network's scale multiplies shock^2, counting and growth^2 afterwards, and is not part of the result: so it is
    searched.
    """

    def shape(root):
        return scatter.shock / root, scatter.stays, scatter.counting / root**2, scatter.growth / root

    options = {"xatol": 1e-10}
    found = optimize.minimize_scalar(
        lambda root: likelihood(*shape(root)), bounds=(0.3, 3), method="bounded", options=options
    )
    return found.x, shape(found.x), found.fun


@pytest.mark.parametrize("name", CASES)
class TestRestrictedMaximumLikelihood:
    def test_no_point_nearby_is_likelier(self, name):
        weeks, scatter = fitted(name)
        likelihood = BruteForce.of(weeks)
        _, shape, least = before_scaling(scatter, likelihood)
        for place in range(4):
            for times in (0.97, 0.99, 1.01, 1.03):
                beside = list(shape)
                beside[place] *= times
                assert likelihood(*beside) > least

    def test_another_search_from_other_starts_finds_the_same(self, name, capsys):
        """SciPy, Nelder-Mead on the brute-force likelihood, from two starts of its own."""
        weeks, scatter = fitted(name)
        likelihood = BruteForce.of(weeks)
        _, shape, least = before_scaling(scatter, likelihood)
        for start in ((-1.0, 0.5, 0.0, -2.0), (-2.5, 0.1, 0.2, -4.0)):
            value, found = likelihood.least(np.array(start))
            assert least - value < 1e-5
            np.testing.assert_allclose(shape, found, rtol=1e-3)
        with capsys.disabled():
            print(f"\n{name}: -2 log likelihood {least:.4f}, by another search {value:.4f}; shock {shape[0]:.4f}")


def scale_and_degrees(weeks, shape):
    """Each farm's squares by statsmodels' GLS of a level, and Smyth 2004 (from memory), section 6.2, by SciPy."""
    shock, stays, counting, growth = shape
    off, expected = [], []
    for farm in range(len(weeks)):
        place = np.flatnonzero(weeks.used[farm])
        noise = weeks.noise[farm][np.ix_(place, place)]
        sigma = covariance(weeks.when[farm][place], noise, shock, stays, counting, growth)
        fit = sm.GLS(weeks.effects[farm][place], np.ones(len(place)), sigma=sigma).fit()
        half = fit.df_resid / 2
        off.append(np.log(fit.scale) - special.digamma(half) + np.log(half))
        expected.append(special.polygamma(1, half))
    beyond = np.var(off, ddof=1) - np.mean(expected)
    if beyond <= special.polygamma(1, MOST_DEGREES / 2):
        half = MOST_DEGREES / 2
    else:
        half = optimize.root_scalar(lambda x: special.polygamma(1, x) - beyond, bracket=(1e-3, MOST_DEGREES / 2)).root
    return np.exp(np.mean(off) + special.digamma(half) - np.log(half)), 2 * half


def told_of_scale(name, weeks, scatter):
    """Degrees and scale of the module, and by statsmodels and SciPy for the same shape."""
    root, shape, _ = before_scaling(scatter, BruteForce.of(weeks))
    scale, degrees = scale_and_degrees(weeks, shape)
    return f"{name}: degrees {scatter.degrees:.2f} and {degrees:.2f}, scale {root**2:.4f} and {scale:.4f}", (
        [scatter.degrees, root**2],
        [degrees, scale],
    )


# Seeds at which the fitted growth is next to nothing, as it should be where no farm changes.
@pytest.mark.parametrize(("unlike", "seed"), [(0.0, 7), (0.4, 8), (0.8, 8)])
def test_scale_and_degrees_of_level_farms(unlike, seed, capsys):
    weeks = Case(300, 8, 0, Network(shock=0.3, stays=0.1, unlike=unlike), seed, changing=False).weeks_of()
    scatter = fit_week_scatter(weeks, K)
    told, (ours, theirs) = told_of_scale(f"shocks unlike by {unlike}", weeks, scatter)
    with capsys.disabled():
        print(f"\n{told}")
    assert scatter.growth < 0.025
    np.testing.assert_allclose(ours, theirs, rtol=2e-3)


def test_scale_and_degrees_where_farms_rise_and_fall():
    weeks, scatter = fitted("unlike farms")
    _, (ours, theirs) = told_of_scale("changing farms", weeks, scatter)
    np.testing.assert_allclose(ours, theirs, rtol=2e-3)


def test_the_degrees_are_those_of_an_f_distribution():
    """Variances drawn as s^2 ~ F(7, d0): the likeliest d0 by SciPy's f lies beside ours (moments of logs)."""
    rng = np.random.default_rng(11)
    own = np.sqrt(1 / stats.chi2(9).rvs(4000, random_state=rng) * 9)
    effects = 0.3 * own[:, None] * rng.standard_normal((4000, 8))
    weeks = exactly_known(effects)
    scatter = fit_week_scatter(weeks, K)
    spread = effects.var(axis=1, ddof=1)
    found = optimize.minimize(
        lambda free: -stats.f(7, np.exp(free[0]), scale=np.exp(free[1])).logpdf(spread).sum(), np.log([8.0, 0.1])
    )
    assert scatter.degrees == pytest.approx(np.exp(found.x[0]), rel=0.1)
    assert 8 < scatter.degrees < 10.2
