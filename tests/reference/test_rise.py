"""The test of a rise against statsmodels' t values, SciPy's distributions and draws made here again."""

import numpy as np
import pytest
import statsmodels.api as sm
from scipy import special, stats

from monitoring.analysis.correlated_weeks import PRINTED, WeekScatter
from monitoring.analysis.rise_null import null_draws
from monitoring.analysis.rise_statistic import changes_of, t_of_changes
from tests.monitoring.analysis.counts import exactly_known, simulated, weeks_of
from tests.reference import trend_by_statsmodels as reference

STARTS = (1, 2, 3)
# So little that the weeks are Gaussian shocks and nothing else.
NO_NOISE = 1e-8


def scatter(*, stays=0.0, shock=0.3, degrees=6.0):
    return WeekScatter(shock=shock, stays=stays, counting=1.0, growth=0.1, degrees=degrees, k=1.5, farms=200)


def shape(weeks, stays):
    """Correlation of weeks, and what a change from each start adds to them a unit of growth."""
    when = np.arange(weeks) - (weeks - 1.0)
    return stays ** np.abs(np.subtract.outer(when, when)), [np.maximum(when + start, 0) for start in STARTS]


def unit_changes(weeks, stays):
    """Whitened changes with the level taken out, of length 1, by projection: (n_weeks, n_starts)."""
    correlation, changes = shape(weeks, stays)
    half = np.linalg.inv(np.linalg.cholesky(correlation))
    level = half @ np.ones(weeks)
    apart = np.eye(weeks) - np.outer(level, level) / (level @ level)
    directions = apart @ half @ np.column_stack(changes)
    return directions / np.linalg.norm(directions, axis=0)


class TestTheStatistic:
    @pytest.mark.parametrize("stays", [0.0, 0.5])
    def test_with_the_farms_own_scale_it_is_statsmodels_t_of_the_change(self, stays):
        """Statsmodels' GLS of the effects on a level and the change, farms with gaps: tvalues, own scale."""
        rng = np.random.default_rng(4)
        counts, _ = simulated(rng, farms=30)
        counts[::3, :, 3] = np.nan
        weeks = weeks_of(counts)
        ours = changes_of(weeks, scatter(stays=stays), 0.0)
        for farm in range(30):
            place = np.flatnonzero(weeks.used[farm])
            when = weeks.when[farm][place]
            known = reference.Weeks(
                place.tolist(), weeks.effects[farm][place], weeks.noise[farm][np.ix_(place, place)], {}
            )
            sigma = reference.covariance(known, when, scatter(stays=stays))
            for number, start in enumerate(STARTS):
                design = sm.add_constant(np.maximum(when + start, 0))
                fit = sm.GLS(known.effects, design, sigma=sigma).fit()
                assert ours[farm, number] == pytest.approx(fit.tvalues[1], rel=1e-6, abs=1e-8)

    def test_with_a_networks_scale_beside_its_own(self):
        """The squares of statsmodels' GLS, and a scale of 1 that counts four degrees of freedom."""
        rng = np.random.default_rng(5)
        effects = 0.3 * rng.standard_normal((10, 8))
        ours = changes_of(exactly_known(effects), scatter(stays=0.3), 4.0)
        correlation, changes = shape(8, 0.3)
        for farm in range(10):
            for number, change in enumerate(changes):
                fit = sm.GLS(effects[farm], sm.add_constant(change), sigma=0.09 * correlation).fit()
                error = np.sqrt(fit.normalized_cov_params[1, 1] * (4 + fit.ssr) / (4 + fit.df_resid))
                assert ours[farm, number] == pytest.approx(fit.params[1] / error, rel=1e-6)

    def test_one_start_of_gaussian_weeks_is_a_students_t(self):
        """SciPy's Kolmogorov-Smirnov test against t on weeks - 2 degrees of freedom; 20,000 draws with a seed."""
        effects = np.random.default_rng(6).standard_normal((20_000, 9))
        columns = [np.ones(9), np.maximum(np.arange(-8.0, 1) + 3, 0)]
        level, change = (np.broadcast_to(column, effects.shape) for column in columns)
        t = t_of_changes(np.stack([level, effects, change], axis=2), np.full(20_000, 7.0), 0.0)[:, 0]
        assert stats.kstest(t, stats.t(7).cdf).pvalue > 0.01


def spiral(points):
    """Points spread evenly over a sphere."""
    turn = np.arange(points) + 0.5
    height, angle = 1 - 2 * turn / points, np.pi * (1 + 5**0.5) * turn
    around = np.sqrt(1 - height**2)
    return np.column_stack([around * np.cos(angle), around * np.sin(angle), height])


def exact_p(t, weeks, stays, points=20_000):
    """Chance that the largest of the three t (own scale) of a level farm is at least so large; no draws in it.

    The effects, whitened and without their level, point anywhere on a sphere of weeks - 1 dimensions alike. t_j >= t
    where their cosine with change j is at least c = t/sqrt(t^2 + weeks - 2). Only the part in the space of the three
    changes matters: its squared length is Beta(3/2, (weeks - 4)/2), its direction uniform on a sphere, here a spiral.
    """
    directions, coordinates = spiral(points), np.linalg.qr(unit_changes(weeks, stays))[1]
    largest = (directions @ coordinates).max(axis=1)
    cosine = t / np.sqrt(t**2 + weeks - 2)
    up = largest > cosine
    return float(stats.beta(1.5, (weeks - 4) / 2).sf((cosine / largest[up]) ** 2).sum() / points)


def exact_p_of_known_scale(t, weeks, stays, points=20_000):
    """As `exact_p`, where the scale is known: the part in the space of the changes has the length of a chi of three."""
    directions, coordinates = spiral(points), np.linalg.qr(unit_changes(weeks, stays))[1]
    largest = (directions @ coordinates).max(axis=1)
    return float(stats.chi(3).sf(t / largest[largest > 0]).sum() / points)


def gaussian_p(t, weeks, stays):
    """Chance that the largest of three Gaussians correlated as the changes is at least so large: SciPy's integral."""
    directions = unit_changes(weeks, stays)
    correlation = directions.T @ directions
    return 1 - stats.multivariate_normal.cdf(np.full(3, t), np.zeros(3), correlation, abseps=1e-6, releps=1e-6)


class TestThePValue:
    """In the limit of countless catches, where weeks are Gaussian."""

    @pytest.mark.parametrize("weeks", [6, 8, 12])
    @pytest.mark.parametrize("stays", [0.0, 0.5])
    def test_with_the_farms_own_scale_it_is_the_exact_one(self, weeks, stays):
        """An integral over the sphere, by SciPy's beta distribution; within four standard errors of 100,000 draws."""
        null = null_draws(weeks, NO_NOISE, scatter(stays=stays), 0.0)
        for t in (0.0, 0.8, 1.5, 2.0, 2.5, 3.0):
            exact = exact_p(t, weeks, stays)
            room = 4 * np.sqrt(exact * (1 - exact) / 100_000) + 1e-5
            assert null.p_of_rise(np.array([t]))[0] == pytest.approx(exact, abs=room)
            assert null.p_of_fall(np.array([t]))[0] == pytest.approx(exact, abs=room)

    @pytest.mark.parametrize("stays", [0.0, 0.5])
    def test_with_a_scale_that_is_known_it_is_that_of_a_multivariate_normal(self, stays):
        """SciPy's multivariate normal: a network's scale worth a million degrees of freedom is known."""
        null = null_draws(8, NO_NOISE, scatter(stays=stays), 1e6)
        for t in (0.0, 1.0, 1.5, 2.0, 2.5, 3.0):
            exact = gaussian_p(t, 8, stays)
            assert exact_p_of_known_scale(t, 8, stays) == pytest.approx(exact, abs=3e-4)
            room = 4 * np.sqrt(exact * (1 - exact) / 100_000) + 1e-5
            assert null.p_of_rise(np.array([t]))[0] == pytest.approx(exact, abs=room)

    def test_far_out_the_fitted_tail_is_of_the_right_size(self, capsys):
        """A list of 20,000 names at p below 5e-6: ratio of the fitted p to the exact one, own scale and known scale."""
        lines = []
        for title, worth, exact_of in (("own scale", 0.0, exact_p), ("known scale", 1e6, exact_p_of_known_scale)):
            null = null_draws(12, NO_NOISE, scatter(), worth)
            for goal in (1e-3, 1e-4, 1e-5, 1e-6):
                t = quantile(lambda each, find=exact_of: find(each, 12, 0.0), goal)
                ratio = null.p_of_rise(np.array([t]))[0] / goal
                lines.append(f"{title}: at p {goal:g} (t {t:.2f}) the fitted p is {ratio:.2f} of it")
                # Too large a p hides a name, too small a one invents it: the power of t is on the safe side.
                assert ratio > 0.9
        with capsys.disabled():
            print("\n" + "\n".join(lines))

    def test_draws_made_here_again_have_the_same_quantiles(self):
        """Counting noise and all: shocks by SciPy, logs of gammas, each farm's t by least squares; 20,000 draws."""
        rng = np.random.default_rng(8)
        noise, stays = 0.09, 0.3
        correlation, changes = shape(8, stays)
        shocks = stats.multivariate_normal(np.zeros(8), 0.09 * correlation).rvs(20_000, random_state=rng)
        alpha = solve_trigamma(noise)
        effects = shocks + np.log(rng.gamma(alpha, size=(20_000, 8))) - special.digamma(alpha)
        half = np.linalg.inv(np.linalg.cholesky(0.09 * correlation + noise * np.eye(8)))
        whole = half @ effects.T
        largest = np.full(20_000, -np.inf)
        for change in changes:
            design = half @ np.column_stack([np.ones(8), change])
            growth, squares = np.linalg.lstsq(design, whole, rcond=None)[:2]
            unit = np.linalg.inv(design.T @ design)[1, 1]
            largest = np.maximum(largest, growth[1] / np.sqrt(unit * (1 + squares) / (1 + 6)))
        null = null_draws(8, noise, scatter(stays=stays), 1.0)
        for share in (0.5, 0.2, 0.05, 0.01):
            t = np.quantile(largest, 1 - share)
            room = 4 * np.sqrt(share * (1 - share) * (1 / 20_000 + 1 / 100_000))
            assert null.p_of_rise(np.array([t]))[0] == pytest.approx(share, abs=room)


def solve_trigamma(variance):
    """Halve an interval until the gamma's log has this variance."""
    low, high = 1e-3, 1e6
    for _ in range(200):
        middle = np.sqrt(low * high)
        low, high = (middle, high) if special.polygamma(1, middle) > variance else (low, middle)
    return middle


def quantile(p_of, goal):
    """Halve an interval until p is the goal."""
    low, high = 0.0, 60.0
    for _ in range(45):
        middle = (low + high) / 2
        low, high = (middle, high) if p_of(middle) > goal else (low, middle)
    return middle


def test_printed_scatter_is_used_where_there_is_no_network():
    from monitoring.analysis.rise import find_rises

    weeks = weeks_of(simulated(np.random.default_rng(2), farms=20)[0])
    few = scatter()
    few = WeekScatter(few.shock, few.stays, few.counting, few.growth, few.degrees, few.k, farms=29)
    np.testing.assert_array_equal(find_rises(weeks).rise, find_rises(weeks, few).rise)
    np.testing.assert_array_equal(find_rises(weeks).rise, changes_of(weeks, PRINTED, 6.0).max(axis=1))
