"""The group's list against published p-values, SciPy and statsmodels."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import optimize, stats
from statsmodels.stats.multitest import multipletests

from monitoring.analysis.correlated_weeks import PRINTED, covariance_of_weeks
from monitoring.analysis.farm_weeks import farm_weeks_from
from monitoring.analysis.group_list import group_list, names_by_benjamini_hochberg, shared_effect
from monitoring.analysis.simulated_farms import Network, rise_of, simulate_farms
from tests.monitoring.analysis.counts import K

P_VALUES = st.lists(st.floats(0, 1), min_size=1, max_size=60).map(np.array)

# Benjamini and Hochberg 1995, J R Stat Soc B 57:289-300, section 3.2: thrombolysis after an infarction. From memory.
THROMBOLYSIS = np.array([
    0.0001, 0.0004, 0.0019, 0.0095, 0.0201, 0.0278, 0.0298, 0.0344, 0.0459, 0.3240, 0.4262, 0.5719, 0.6528, 0.7590, 1.0
])  # fmt: skip


class TestBenjaminiAndHochberg:
    def test_their_own_example_names_four_at_five_percent(self, shuffled):
        """From memory: four are rejected at .05, where Bonferroni's rule rejects three."""
        assert names_by_benjamini_hochberg(THROMBOLYSIS, 0.05).tolist() == [True] * 4 + [False] * 11
        np.testing.assert_array_equal(
            names_by_benjamini_hochberg(THROMBOLYSIS[shuffled], 0.05), (THROMBOLYSIS < 0.01)[shuffled]
        )
        assert (THROMBOLYSIS <= 0.05 / 15).sum() == 3

    @pytest.fixture
    def shuffled(self):
        return np.random.default_rng(1).permutation(15)

    # A product q i / n on one side and a quotient p n / i on the other may differ in the last digit at a tie.
    @given(P_VALUES, st.sampled_from([0.05, 0.1, 0.25]))
    def test_scipy_names_the_same(self, p_values, share):
        adjusted = stats.false_discovery_control(p_values, method="bh")
        clear = np.abs(adjusted - share) > 1e-12
        np.testing.assert_array_equal(names_by_benjamini_hochberg(p_values, share)[clear], (adjusted <= share)[clear])

    @given(P_VALUES, st.sampled_from([0.05, 0.1, 0.25]))
    def test_statsmodels_names_the_same(self, p_values, share):
        named, adjusted = multipletests(p_values, share, method="fdr_bh")[:2]
        clear = np.abs(adjusted - share) > 1e-12
        np.testing.assert_array_equal(names_by_benjamini_hochberg(p_values, share)[clear], named[clear])

    def test_the_list_is_scipys_cut_of_its_own_p_values(self):
        weeks = network(seed=3, farms=200, rising=40)
        listed = group_list(weeks)
        known = ~np.isnan(listed.p_value)
        adjusted = stats.false_discovery_control(listed.p_value[known], method="bh")
        np.testing.assert_array_equal(listed.named[known], adjusted <= 0.1)
        assert listed.named.sum() > 10


def network(*, seed, farms, rising, shared=0.2, weeks=8):
    """Weeks of a group's farms of which some rise in the last three weeks, under a week effect that all share."""
    rng = np.random.default_rng(seed)
    growth = np.zeros((farms, weeks))
    growth[:rising] = rise_of(weeks, lasts=3)
    with np.errstate(under="ignore"):
        drawn = simulate_farms(rng, Network(shock=0.2, shared=shared), farms, weeks, growth)
    return farm_weeks_from(drawn.counts, drawn.days, np.arange(weeks) * 7.0, K)


def minus_log_posterior(free, weeks):
    """Farms of seven kinds by SciPy's multivariate normal on differences from week to week, with the beliefs.

    `free` are the shared effect but its last week (which makes the mean zero) and logs of the kinds' odds. The beliefs
    in the words of the module: growth .35 a week (sd .15), 80 % level, ten farms' worth.
    """
    shared = np.append(free[:7], -free[:7].sum())
    odds = np.exp(np.append(0.0, free[7:]))
    shares = odds / odds.sum()
    contrast, covariance = np.diff(np.eye(8), axis=0), covariance_of_weeks(weeks, PRINTED)[0]
    changes = [(sign * 0.35, np.maximum(np.arange(-7.0, 1) + start, 0)) for start in (1, 2, 3) for sign in (1, -1)]
    kinds = [(np.zeros(8), covariance)]
    kinds += [(growth * change, covariance + 0.15**2 * np.outer(change, change)) for growth, change in changes]
    seen = (weeks.effects - shared) @ contrast.T
    laws = [stats.multivariate_normal(contrast @ mean, contrast @ together @ contrast.T) for mean, together in kinds]
    beliefs = np.append(0.8, np.full(6, 0.2 / 6))
    return -np.log(np.column_stack([law.pdf(seen) for law in laws]) @ shares).sum() - 10 * beliefs @ np.log(shares)


def test_the_shared_effect_is_the_likeliest_one(monkeypatch, capsys):
    """SciPy's climb of the likelihood of all farms written out: same shared effect, same share of level farms.

    Many rounds come to it; the fifteen that are used stop a little before.
    """
    weeks = network(seed=5, farms=40, rising=12)
    # One covariance for all, so that SciPy values all farms in one call.
    weeks = replace(weeks, noise=np.broadcast_to(weeks.noise.mean(axis=0), weeks.noise.shape))
    start = np.concatenate([np.zeros(7), np.log(np.full(6, 0.25 / 6))])
    found = optimize.minimize(minus_log_posterior, start, args=(weeks,), method="L-BFGS-B")
    likeliest = np.append(found.x[:7], -found.x[:7].sum())
    odds = np.exp(np.append(0.0, found.x[7:]))
    soon, _ = shared_effect(weeks, PRINTED)
    monkeypatch.setattr("monitoring.analysis.group_list.ROUNDS", 2000)
    shared, level_share = shared_effect(weeks, PRINTED)
    with capsys.disabled():
        print(
            f"\nshared effect, largest difference to the likeliest: {np.abs(soon - likeliest).max():.3f} after fifteen"
        )
        print(f"rounds, {np.abs(shared - likeliest).max():.5f} after 2,000; level {level_share:.3f}")
    np.testing.assert_allclose(soon, likeliest, atol=0.03)
    np.testing.assert_allclose(shared, likeliest, atol=1e-3)
    assert level_share == pytest.approx(odds[0] / odds.sum(), abs=2e-3)
