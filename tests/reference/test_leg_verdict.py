"""Wald's test on negative-binomial counts against published and computed lines, SciPy's likelihood and simulation."""

import statistics

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import optimize, stats

from monitoring.analysis.leg_scatter import K_OF_LEGS
from monitoring.analysis.leg_verdict import CLEARLY_BELOW, CLEARLY_OVER, stop_lines, stop_table
from server.calibrate.leg_verdict import figures

# The formulas: Waters 1955, Sequential sampling in forest insect surveys, Forest Sci 1 (read through Binns, Nyrop and
# van der Werf 2000, Sampling and Monitoring in Crop Protection). k, m0, m1, slope, intercept. P: inputs published
# there; C: computed from the formulas, checked below by a second method.
LINES = [
    pytest.param(0.8, 4, 6, 4.874967, 38.440965, id="P-inputs-C-lines"),
    pytest.param(1.4, 7, 13, 9.427406, 27.450653, id="C"),
]


@pytest.mark.parametrize(("k", "low", "high", "slope", "intercept"), LINES)
def test_the_lines(k, low, high, slope, intercept):
    lines = stop_lines(low, high, k)
    assert float(lines.slope) == pytest.approx(slope, abs=1e-6)
    assert float(lines.over) == pytest.approx(intercept, abs=1e-6)
    assert float(lines.below) == pytest.approx(-intercept, abs=1e-6)


def test_intercepts_that_are_published_belong_to_errors_of_10_and_5_per_cent():
    """P: McAuslane, Ellis and Allen 1987, Can Entomol 119, print lines with intercepts of -17.75 and +13.82.

    Whatever k and means were, the ratio of the intercepts is ln(18) to ln(9.5) at alpha 0.10 and beta 0.05.
    """
    lines = stop_lines(1.0, 2.0, 1.0, alpha=0.10, beta=0.05)
    assert float(lines.below / lines.over) == pytest.approx(-np.log(18) / np.log(9.5), rel=1e-12)
    # Both intercepts are rounded to two digits behind the point.
    assert float(lines.below / lines.over) == pytest.approx(-17.75 / 13.82, rel=0.0006)


@pytest.mark.parametrize(("low", "high"), [(4.0, 6.0), (7.0, 13.0), (0.7, 1.3)])
def test_counts_that_scatter_by_chance_alone_have_the_poisson_line(low, high):
    # C: k to infinity, slope (m1 - m0) / ln(m1 / m0), intercept ln(9) / ln(m1 / m0).
    exact, far = stop_lines(low, high, np.inf), stop_lines(low, high, 1e9)
    assert float(exact.slope) == pytest.approx((high - low) / np.log(high / low), rel=1e-12)
    assert float(exact.over) == pytest.approx(np.log(9) / np.log(high / low), rel=1e-12)
    assert float(far.slope) == pytest.approx(float(exact.slope), rel=1e-7)
    assert float(far.over) == pytest.approx(float(exact.over), rel=1e-7)


MEANS = st.floats(0.3, 30)


@given(MEANS, st.floats(1.1, 4), st.floats(0.2, 20), st.lists(st.integers(0, 200), min_size=1, max_size=15))
def test_a_line_is_crossed_where_scipys_likelihood_ratio_passes_its_bound(low, times, k, flies):
    """Second method: log likelihoods by scipy.stats.nbinom; Wald's bounds are ln(1/9) and ln(9)."""
    high, lines = low * times, stop_lines(low, low * times, k)
    ratio = sum(stats.nbinom.logpmf(flies, k, k / (k + mean)).sum() * sign for mean, sign in ((high, 1), (low, -1)))
    height = (sum(flies) - float(lines.slope) * len(flies)) / float(lines.over)
    # On the lines the ratio is the bound, and between them it is straight in the total.
    assert ratio == pytest.approx(height * np.log(9), rel=1e-6, abs=1e-6)


@given(st.floats(0.5, 60), st.sampled_from([0.5, 0.8, 1.4, 3.0, 8.0]))
def test_the_table_is_the_likelihood_ratio_in_whole_flies(level, k):
    """Second method, by SciPy: the ratio depends on the total alone, so put all flies on one animal."""

    def ratio(total, animals):
        found = 0.0
        for mean, sign in ((CLEARLY_OVER * level, 1), (CLEARLY_BELOW * level, -1)):
            nbinom = stats.nbinom(k, k / (k + mean))
            found += sign * (nbinom.logpmf(total) + (animals - 1) * nbinom.logpmf(0))
        return found / np.log(9)

    table = stop_table(level, k)
    for animals, below, over in zip(table.animals, table.below, table.over, strict=True):
        assert ratio(over, animals) >= 1 - 1e-6
        assert over - 1 < level * animals or ratio(over - 1, animals) < 1 + 1e-6
        assert below == -1 or ratio(below, animals) <= -1 + 1e-6
        assert below + 1 >= level * animals - 1e-6 or ratio(below + 1, animals) > -1 - 1e-6


def test_k_is_inferred_from_the_legs_without_flies():
    """P: 47 % of legs without flies at a mean of 1 (Lysyk and Schaalje 1992, J Econ Entomol 85). The k is our own.

    Second method: SciPy's zero class of a negative binomial.
    """
    k = optimize.brentq(lambda each: stats.nbinom.pmf(0, each, each / (each + 1)) - 0.47, 0.1, 50)
    assert round(k, 1) == K_OF_LEGS


def told(measured):
    for name in ("without_truncation", "as_used"):
        print(f"\n{name}, {measured['sessions']} sessions a cell")
        for cell in measured[name]:
            print("  " + ", ".join(f"{key} {value:.3g}" for key, value in cell.items()))


def of(cells, **wanted):
    """The `wrong` of the cells that have these values."""
    found = [cell["wrong"] for cell in cells if all(cell[key] == value for key, value in wanted.items())]
    assert found
    return found


@pytest.fixture(scope="module", params=[4_000, pytest.param(40_000, marks=pytest.mark.full)])
def measured(request):
    found = figures(request.param, seed=3)
    told(found)
    return found


def noise(measured, share):
    """Three standard errors of a share of simulated sessions."""
    return 3 * (share * (1 - share) / measured["sessions"]) ** 0.5


@pytest.mark.parametrize(("k", "share"), [(k, share) for k in (1.4, 0.8) for share in (0.7, 1.3)])
def test_without_truncation_wrong_verdicts_stay_within_alpha_and_beta(measured, k, share):
    """Wald 1945: the errors are at most about alpha and beta; overshoot makes them less."""
    cells = [cell for cell in measured["without_truncation"] if cell["k"] == cell["planned_k"]]
    assert max(of(cells, k=k, share=share, day_sd=0.0)) <= 0.1
    assert all(cell["unended"] == 0 for cell in cells)


def test_ten_to_15_animals_are_wrong_in_6_per_cent_at_most(measured):
    cells = [cell for cell in measured["as_used"] if cell["k"] == cell["planned_k"]]
    for share in (0.5, 0.7, 1.3, 2.0):
        assert max(of(cells, share=share, day_sd=0.0)) <= 0.06


def test_and_in_13_per_cent_where_animals_are_more_uneven_than_planned(measured):
    for share in (0.7, 1.3):
        assert max(of(measured["as_used"], k=0.8, planned_k=1.4, share=share, day_sd=0.0)) <= 0.13


def test_a_day_that_all_animals_share_makes_9_to_18_per_cent_wrong_about_the_herd(measured):
    """Which is why the verdict is worded as one about these animals today: of the day's own mean fewer are wrong."""
    cells = [cell for cell in measured["as_used"] if cell["day_sd"] == 0.3 and cell["share"] in (0.7, 1.3)]
    for cell in cells:
        assert 0.09 - noise(measured, 0.09) <= cell["wrong"] <= 0.18 + noise(measured, 0.18)
        assert cell["wrong_today"] < cell["wrong"]
    assert statistics.mean(cell["wrong_today"] for cell in cells if cell["k"] == cell["planned_k"]) < 0.08


def test_the_figures_are_the_same_for_the_same_seed_and_are_plain_data():
    first, again = figures(50, seed=1), figures(50, seed=1)
    assert first == again
    assert {type(value) for cell in first["as_used"] for value in cell.values()} == {float}
