"""The chart of a farm's own past against published tables and examples, statsmodels, SciPy and drawing."""

import numpy as np
import pytest
import statsmodels.api as sm
from scipy import stats

from monitoring.analysis.correlated_weeks import WeekScatter
from monitoring.analysis.own_past import RUN_LENGTH, WEIGHT, own_past, smoothed
from monitoring.analysis.run_length import average_run_length, limit_for, long_run_spread
from monitoring.analysis.week_scores import WeekScores, score_newest
from tests.monitoring.analysis.counts import exactly_known

# P: Crowder 1987, Technometrics 29:401-407, table 1, limit 2, as quoted in the documentation of the R package spc
# (xewma.arl); weight 0.5 and 0.05. At shift 1.25 the table prints 3.95 for 0.5, which that documentation marks as a
# misprint (3.59): left out.
CROWDER = {
    0.00: (26.45, 127.53),
    0.25: (20.12, 43.94),
    0.50: (11.89, 18.97),
    0.75: (7.29, 11.64),
    1.00: (4.91, 8.38),
    1.50: (2.80, 5.41),
    1.75: (2.29, 4.62),
    2.00: (1.94, 4.04),
    2.25: (1.70, 3.61),
    2.50: (1.51, 3.26),
    2.75: (1.37, 2.99),
    3.00: (1.26, 2.76),
    3.25: (1.18, 2.56),
    3.50: (1.12, 2.39),
    3.75: (1.08, 2.26),
    4.00: (1.05, 2.15),
}
# P: Lucas and Saccucci 1990, Technometrics 32:1-12, table 3, as quoted there: weight 0.5 with limit 3.071, weight 0.03
# with limit 2.437. They used a Markov chain, which shows in the third digit.
LUCAS_SACCUCCI = {
    0.00: (500, 500),
    0.25: (255, 76.7),
    0.50: (88.8, 29.3),
    0.75: (35.9, 17.6),
    1.00: (17.5, 12.6),
    1.50: (6.53, 8.07),
    2.00: (3.63, 5.99),
    2.50: (2.50, 4.80),
    3.00: (1.93, 4.03),
    3.50: (1.58, 3.49),
    4.00: (1.34, 3.11),
    5.00: (1.07, 2.55),
}
# M: NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.4.
HANDBOOK = [
    52.0,
    47,
    53,
    49.3,
    50.1,
    47,
    51,
    50.1,
    51.2,
    50.5,
    49.6,
    47.6,
    49.9,
    51.3,
    47.8,
    51.2,
    52.6,
    52.4,
    53.6,
    52.1,
]
HANDBOOK_LINE = [
    50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33, 50.11, 49.36, 49.52, 50.05, 49.38, 49.92,
    50.73, 51.23, 51.94, 51.99,
]  # fmt: skip


class TestTheRunLength:
    @pytest.mark.parametrize("shift", CROWDER)
    def test_crowder_1987(self, shift):
        """To the printed digits; 1.9452 at shift 2 is printed as 1.94."""
        found = [average_run_length(weight, 2.0, shift) for weight in (0.5, 0.05)]
        assert found == pytest.approx(CROWDER[shift], abs=0.0053)

    @pytest.mark.parametrize("shift", LUCAS_SACCUCCI)
    def test_lucas_and_saccucci_1990(self, shift):
        found = [average_run_length(0.5, 3.071, shift), average_run_length(0.03, 2.437, shift)]
        assert found == pytest.approx(LUCAS_SACCUCCI[shift], rel=0.008)

    def test_waldmann_1986(self):
        """P: Waldmann, Technometrics 28:61-67, table 1, as quoted in the documentation of spc: 104.0 and 1952.

        Both have the limit 2 on z itself: weight 0.75 and 0.5.
        """
        found = [average_run_length(weight, 2 / long_run_spread(weight)) for weight in (0.75, 0.5)]
        assert found == pytest.approx([104.0, 1952], rel=5e-4)

    def test_crowder_1989_limits(self):
        """P: Crowder, J Qual Technol 21:155-162, limits for a run length of 250, as quoted there."""
        found = [limit_for(weight, 250.0) for weight in (0.05, 0.1, 0.15, 0.2, 0.25)]
        assert found == pytest.approx([2.32, 2.55, 2.65, 2.72, 2.76], abs=0.0101)

    def test_the_usual_limits_for_five_hundred_weeks(self):
        """M: limits that textbooks give for a run length of about 500, of weights 0.1, 0.25, 0.4."""
        found = [average_run_length(*pair) for pair in ((0.1, 2.814), (0.25, 2.998), (0.4, 3.054))]
        assert found == pytest.approx([500, 500, 500], rel=0.005)

    def test_with_full_weight_each_week_stands_alone(self):
        """A theorem: without smoothing the run length is geometric."""
        assert average_run_length(1.0, 2.0) == pytest.approx(1 / (2 * stats.norm.sf(2)), rel=1e-9)

    @pytest.mark.parametrize("shift", [0.0, 1.0])
    def test_a_markov_chain_gives_the_same(self, shift):
        """C: the second method, Brook and Evans 1972, Biometrika 59:539-549: z in 1,001 cells between the limits."""
        edge, cells = limit_for(WEIGHT, RUN_LENGTH) * long_run_spread(WEIGHT), 1001
        width = 2 * edge / cells
        middles = -edge + width * (np.arange(cells) + 0.5)
        ends = -edge + width * np.arange(cells + 1)
        before = stats.norm.cdf((ends[None, :] - (1 - WEIGHT) * middles[:, None]) / WEIGHT - shift)
        lengths = np.linalg.solve(np.eye(cells) - np.diff(before, axis=1), np.ones(cells))
        limit = limit_for(WEIGHT, RUN_LENGTH)
        assert lengths[cells // 2] == pytest.approx(average_run_length(WEIGHT, limit, shift), rel=1e-3)

    def test_drawing_gives_the_same(self):
        """C: 20,000 level farms of independent standard normal scores, watched until their first signal."""
        rng = np.random.default_rng(1)
        scores = rng.standard_normal((20_000, 100)).ravel()
        nothing = np.zeros(scores.size)
        found = own_past(WeekScores(scores, nothing, nothing + 1, nothing > 0, np.full(scores.size, "")), 100)
        out = found.word != "within"
        first = np.where(out.any(axis=1), out.argmax(axis=1) + 1, 100)
        waited = first.sum() / out.any(axis=1).sum()
        print(f"\nweeks to the first signal, drawn: {waited:.2f}")
        assert waited == pytest.approx(50, rel=0.03)


class TestTheLine:
    def test_nist_handbook(self):
        """M: target 50, weight 0.3, s 2.0539; upper limit 52.588 at three standard deviations."""
        found = smoothed(np.array([HANDBOOK]), 0.3, 50.0)[0]
        np.testing.assert_allclose(found, HANDBOOK_LINE, atol=0.0051)
        assert 50 + 3 * 2.0539 * long_run_spread(0.3) == pytest.approx(52.588, abs=0.001)


def scatter(stays):
    """A network's figures; the shock is of no matter, since the scale is the farm's own."""
    return WeekScatter(shock=0.7, stays=stays, counting=1.0, growth=0.1, degrees=6.0, k=1.5, farms=200)


class TestTheScores:
    def test_without_correlation_it_is_quesenberrys_q(self):
        """M: Quesenberry 1991, J Qual Technol 23, with mean and variance unknown: of the r-th value, the inverse normal
        of the t of r - 2 degrees at sqrt((r - 1)/r) (x - mean before) / s before.
        """
        x = np.random.default_rng(3).standard_normal((50, 13))
        before = x[:, :-1]
        t = np.sqrt(12 / 13) * (x[:, -1] - before.mean(axis=1)) / before.std(axis=1, ddof=1)
        found = score_newest(exactly_known(x), scatter(0.0))
        np.testing.assert_allclose(found.score, np.clip(stats.norm.ppf(stats.t.cdf(t, 11)), -4, 4), atol=1e-5)
        np.testing.assert_allclose(found.expected, before.mean(axis=1), atol=1e-7)
        np.testing.assert_allclose(found.spread, np.sqrt(13 / 12) * before.std(axis=1, ddof=1), rtol=1e-6)

    def test_with_correlation_it_is_statsmodels_level_and_the_prediction_from_it(self):
        """Level and scale by statsmodels' GLS; the prediction by Goldberger 1962, J Amer Stat Assoc 57 (M)."""
        stays, x = 0.5, np.random.default_rng(4).standard_normal((20, 13))
        correlation = stays ** np.abs(np.subtract.outer(np.arange(13), np.arange(13)))
        past, with_new = correlation[:-1, :-1], correlation[:-1, -1]
        known = np.linalg.solve(past, with_new)
        found = score_newest(exactly_known(x), scatter(stays))
        for farm in range(20):
            fit = sm.GLS(x[farm, :-1], np.ones(12), sigma=past).fit()
            expected = fit.params[0] + known @ (x[farm, :-1] - fit.params[0])
            off = (1 - known.sum()) ** 2 * fit.normalized_cov_params[0, 0]
            spread = np.sqrt(fit.scale * (1 - with_new @ known + off))
            assert found.expected[farm] == pytest.approx(expected, abs=1e-6)
            assert found.spread[farm] == pytest.approx(spread, rel=1e-5)
            score = stats.norm.ppf(stats.t.cdf((x[farm, -1] - expected) / spread, 11))
            assert found.score[farm] == pytest.approx(score, abs=1e-4)

    @pytest.mark.parametrize("weeks", [7, 9, 13])
    def test_they_are_standard_normal_however_short_the_past(self, weeks):
        """SciPy's test of the distribution, of 20,000 level farms whose weather lasts."""
        rng = np.random.default_rng(weeks)
        correlation = 0.4 ** np.abs(np.subtract.outer(np.arange(weeks), np.arange(weeks)))
        x = rng.standard_normal((20_000, weeks)) @ np.linalg.cholesky(correlation).T
        found = score_newest(exactly_known(x), scatter(0.4))
        assert stats.kstest(found.score, "norm").pvalue > 0.001

    def test_scores_one_after_another_are_independent(self):
        """Exactly while the past grows, and nearly once twelve weeks move along: printed, and within 0.1."""
        x = np.random.default_rng(5).standard_normal((20_000, 20))
        scores = np.column_stack(
            [
                score_newest(exactly_known(x[:, max(week - 12, 0) : week + 1]), scatter(0.0)).score
                for week in range(6, 20)
            ]
        )
        correlation = np.corrcoef(scores.T)
        growing, moving = correlation[:7, :7], correlation[6:, 6:]
        off = [float(np.abs(part - np.eye(len(part))).max()) for part in (growing, moving)]
        print(f"\nlargest correlation of scores: {off[0]:.3f} while the past grows, {off[1]:.3f} as it moves along")
        assert off[0] < 0.03
        assert off[1] < 0.1
