"""The week's list: whom it names, what it takes out first, and how many of its names are false."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from monitoring.analysis.correlated_weeks import WeekScatter
from monitoring.analysis.group_list import (
    FEWEST,
    beside_shared_week,
    group_list,
    names_by_benjamini_hochberg,
    shared_effect,
)
from monitoring.analysis.rise import find_rises_for_list
from monitoring.analysis.simulated_farms import Network, lasting, rise_of, simulate_farms
from monitoring.analysis.week_scatter import fit_week_scatter
from tests.monitoring.analysis.counts import NONE, K, exactly_known, weeks_of

NETWORK = WeekScatter(shock=0.3, stays=0.2, counting=1.0, growth=0.1, degrees=12.0, k=K, farms=150)


def drawn(rng, farms, *, rising=0, weeks=8, shared=0.0, **options):
    """Counts of a group of which the first so many farms have risen for three weeks."""
    growth = np.zeros((farms, weeks))
    growth[:rising] = rise_of(weeks, lasts=3)
    with np.errstate(under="ignore"):
        return simulate_farms(rng, Network(shared=shared, **options), farms, weeks, growth).counts


class TestTheCut:
    def test_the_largest_number_whose_p_value_is_small_enough(self):
        # .03 is over .025 x 1 but .04 is under .025 x 2: both are named.
        assert names_by_benjamini_hochberg(np.array([0.04, 0.9, 0.03, 0.9]), 0.1).tolist() == [True, False, True, False]

    def test_none_and_all(self):
        assert not names_by_benjamini_hochberg(np.full(5, 0.5), 0.1).any()
        assert names_by_benjamini_hochberg(np.full(5, 0.1), 0.1).all()
        assert names_by_benjamini_hochberg(np.zeros(0), 0.1).tolist() == []

    def test_one_farm_has_the_plain_test(self):
        assert names_by_benjamini_hochberg(np.array([0.099]), 0.1).all()
        assert not names_by_benjamini_hochberg(np.array([0.101]), 0.1).any()

    @pytest.mark.parametrize("p_value", [-0.1, 1.1, NONE, np.inf])
    def test_what_is_no_p_value_is_refused(self, p_value):
        with pytest.raises(ValueError, match=r"^p_value must lie from 0 to 1; look at index \(1,\)"):
            names_by_benjamini_hochberg(np.array([0.5, p_value]), 0.1)

    @given(st.lists(st.floats(0, 1), max_size=40), st.floats(0.01, 0.5), st.randoms(use_true_random=False))
    def test_it_does_not_depend_on_their_order_and_names_the_smallest(self, p_values, share, random):
        order = list(range(len(p_values)))
        random.shuffle(order)
        p = np.array(p_values, float)
        named = names_by_benjamini_hochberg(p, share)
        assert sorted(p[named]) == sorted(p[order][names_by_benjamini_hochberg(p[order], share)])
        if named.any() and not named.all():
            assert p[named].max() <= p[~named].min()

    @given(st.lists(st.floats(0, 1), min_size=1, max_size=40))
    def test_a_stricter_share_never_names_more(self, p_values):
        many = [names_by_benjamini_hochberg(np.array(p_values), share).sum() for share in (0.01, 0.05, 0.1, 0.3)]
        assert many == sorted(many)


@pytest.mark.parametrize("share", [0.0, 1.0, -0.1, NONE])
def test_a_share_of_false_names_outside_0_to_1_is_refused(share):
    with pytest.raises(ValueError, match=r"^false_names must"):
        group_list(exactly_known(np.zeros((20, 8))), false_names=share)


class TestTheSharedWeek:
    def test_it_is_found_though_a_third_of_the_farms_rise(self):
        """Where many rise, the median of the group rises too; the mixture of kinds does so by much less."""
        rng = np.random.default_rng(1)
        weeks = weeks_of(drawn(rng, 300, rising=100, stations=25, shock=0.15))
        shared, level_share = shared_effect(weeks, replace(NETWORK, shock=0.15))
        median = np.median(weeks.effects, axis=0)
        off, off_by_median = (each - each[:5].mean() for each in (shared, median))
        assert np.abs(off[-1]) < 0.4 * np.abs(off_by_median[-1])
        assert level_share == pytest.approx(2 / 3, abs=0.1)

    def test_it_is_the_weather_that_all_farms_had(self):
        rng = np.random.default_rng(2)
        counts = drawn(rng, 200, stations=25, shock=0.15)
        weather = np.array([0.0, 0.3, -0.2, 0.5, 0.1, -0.4, 0.2, 0.7])
        counts = rng.poisson(np.nan_to_num(counts) * np.exp(weather)).astype(float)
        shared, _ = shared_effect(weeks_of(counts), replace(NETWORK, shock=0.15))
        np.testing.assert_allclose(shared, weather - weather.mean(), atol=0.12)

    def test_it_has_mean_zero(self):
        listed = group_list(weeks_of(drawn(np.random.default_rng(3), 40, shared=0.3)), NETWORK)
        assert listed.shared.mean() == pytest.approx(0, abs=1e-12)
        assert 0 < listed.level_share <= 1

    def test_a_rise_that_all_share_names_nobody(self):
        rng = np.random.default_rng(4)
        weeks = weeks_of(drawn(rng, 100, stations=25, shock=0.15))
        together = replace(weeks, effects=weeks.effects + rise_of(8, lasts=3) - rise_of(8, lasts=3).mean())
        scatter = replace(NETWORK, shock=0.15)
        assert (find_rises_for_list(together, scatter).p_rise < 0.05).mean() > 0.9
        assert group_list(together, scatter).named.mean() < 0.05

    def test_of_fewer_than_ten_farms_nothing_is_shared(self):
        weeks = weeks_of(drawn(np.random.default_rng(5), FEWEST, shared=0.3))
        few = group_list(weeks.only(np.arange(FEWEST - 1)), NETWORK)
        assert (few.shared == 0).all() and few.level_share == 1
        assert (group_list(weeks, NETWORK).shared != 0).any()
        np.testing.assert_array_equal(few.p_value, find_rises_for_list(weeks, NETWORK).p_rise[: FEWEST - 1])

    def test_a_week_that_nobody_counted_is_left_at_about_nothing(self):
        counts = drawn(np.random.default_rng(6), 40)
        counts[:, :, 2] = NONE
        listed = group_list(weeks_of(counts), NETWORK)
        assert np.isfinite(listed.shared).all() and np.isfinite(listed.p_value).all()
        assert abs(listed.shared[2]) < 0.2


class TestBesideTheSharedWeek:
    @pytest.fixture
    def quarter(self):
        return weeks_of(drawn(np.random.default_rng(21), 400, weeks=12, shared=0.3))

    def test_no_week_has_a_median_but_what_all_weeks_have(self, quarter):
        left = np.nanmedian(beside_shared_week(quarter).effects, axis=0)
        np.testing.assert_allclose(left, left.mean(), atol=1e-12)

    def test_farms_scatter_by_their_own_shock_alone(self, quarter):
        whole, beside = (fit_week_scatter(each, K).shock for each in (quarter, beside_shared_week(quarter)))
        assert whole == pytest.approx(np.hypot(0.3, 0.3), abs=0.08)
        assert beside == pytest.approx(0.3, abs=0.02)

    def test_a_week_that_nobody_counted_stays_so(self):
        counts = drawn(np.random.default_rng(22), 40)
        counts[:, :, 2] = NONE
        weeks = beside_shared_week(weeks_of(counts))
        assert not weeks.used[:, 2].any() and np.isfinite(weeks.effects[weeks.used]).all()

    def test_less_scatter_names_more_of_those_who_rise(self):
        weeks = weeks_of(drawn(np.random.default_rng(23), 300, rising=60, shared=0.15))
        wide = replace(NETWORK, shock=0.4)
        assert group_list(weeks, wide, NETWORK).named[:60].sum() > group_list(weeks, wide).named[:60].sum() + 5

    def test_of_too_few_farms_nothing_is_taken_out_so_the_whole_scatter_holds(self):
        weeks = weeks_of(drawn(np.random.default_rng(24), FEWEST - 1))
        whole = group_list(weeks, NETWORK).p_value
        np.testing.assert_array_equal(group_list(weeks, NETWORK, replace(NETWORK, shock=0.1)).p_value, whole)


class TestTheList:
    def test_it_names_those_who_rise(self, capsys):
        rng = np.random.default_rng(7)
        listed = group_list(weeks_of(drawn(rng, 300, rising=60, shared=0.15)), NETWORK)
        found, false = int(listed.named[:60].sum()), int(listed.named[60:].sum())
        with capsys.disabled():
            print(f"\nof 60 risers among 300 farms {found} are named, beside {false} others")
        assert found > 20 and false < 10

    def test_farms_without_a_statement_are_not_named_and_do_not_count(self):
        counts = drawn(np.random.default_rng(8), 30, rising=5, stations=25)
        more = np.concatenate([counts, np.full((3, *counts.shape[1:]), NONE), np.zeros((3, *counts.shape[1:]))])
        late = counts[:2].copy()
        late[:, :, -1] = NONE
        listed, whole = (
            group_list(weeks_of(counts), NETWORK),
            group_list(weeks_of(np.concatenate([more, late])), NETWORK),
        )
        assert np.isnan(whole.p_value[30:]).all() and not whole.named[30:].any()
        np.testing.assert_allclose(whole.p_value[:30], listed.p_value, rtol=1e-9)
        np.testing.assert_array_equal(whole.named[:30], listed.named)

    def test_an_empty_group_and_one_without_counts_have_empty_lists(self):
        assert group_list(weeks_of(np.ones((0, 3, 8)))).named.shape == (0,)
        nothing = group_list(weeks_of(np.full((20, 3, 8), NONE)))
        assert not nothing.named.any() and np.isnan(nothing.p_value).all()
        assert (nothing.shared == 0).all()

    def test_the_order_of_farms_changes_nothing(self):
        weeks = weeks_of(drawn(np.random.default_rng(9), 40, rising=8))
        one, other = group_list(weeks, NETWORK), group_list(weeks.only(np.arange(40)[::-1]), NETWORK)
        np.testing.assert_allclose(one.p_value[::-1], other.p_value, rtol=1e-6)
        np.testing.assert_array_equal(one.named[::-1], other.named)

    def test_a_network_under_thirty_farms_is_not_used(self):
        weeks = weeks_of(drawn(np.random.default_rng(10), 20))
        one, other = group_list(weeks, replace(NETWORK, farms=29)), group_list(weeks)
        np.testing.assert_array_equal(one.p_value, other.p_value)

    def test_farms_that_rise_beyond_all_measure_raise_no_warning(self):
        effects = 0.01 * np.random.default_rng(11).standard_normal((20, 8))
        effects[0, -3:] += [4.0, 8.0, 12.0]
        listed = group_list(exactly_known(effects), replace(NETWORK, shock=0.01, degrees=200.0))
        assert listed.named.tolist() == [True] + [False] * 19


def test_false_names_of_a_week_on_average(capsys):
    """Simulated weeks of 100 farms of which none, and a fifth, have risen, under weather that all share.

    The mean of false names over names, or 1, is promised at 10 %; 150 weeks have a standard error of 2.5 % where none
    rises. The issue's bar (12 %, over thousands of weeks) is held by docs/calibration.
    """
    rng = np.random.default_rng(12)
    scatter = fit_week_scatter(weeks_of(drawn(rng, 400, weeks=12)), K)
    lines = []
    for rising in (0, 20):
        counts = drawn(rng, 100 * 150, rising=0).reshape(150, 100, 9, 8)
        risers = drawn(rng, 150 * 20, rising=150 * 20).reshape(150, 20, 9, 8)
        counts[:, :rising] = risers[:, :rising]
        weeks, shares, found = weeks_of(counts.reshape(-1, 9, 8)), [], []
        for week, weather in enumerate(0.15 * lasting(rng, (150, 8), 0.0)):
            rows = weeks.only(np.arange(100 * week, 100 * week + 100))
            listed = group_list(replace(rows, effects=rows.effects + weather - weather.mean()), scatter)
            shares.append(listed.named[rising:].sum() / max(1, listed.named.sum()))
            found.append(listed.named[:rising].mean() if rising else 0.0)
        lines.append(
            f"{rising} of 100 rise: {100 * np.mean(shares):.1f} % of names false, {100 * np.mean(found):.0f} % found"
        )
        assert np.mean(shares) < 0.10 + 3 * 0.025
    with capsys.disabled():
        print("\n" + "; ".join(lines))


CELLS = st.integers(0, 300).map(float) | st.just(0.0) | st.just(NONE)


@given(arrays(float, (12, 2, 6), elements=CELLS))
@settings(max_examples=60)
def test_whoever_is_named_has_a_p_value(counts):
    weeks = weeks_of(counts)
    listed = group_list(weeks, NETWORK)
    known = ~np.isnan(listed.p_value)
    np.testing.assert_array_equal(known, weeks.told & weeks.newest_counted)
    assert not listed.named[~known].any()
    assert np.isfinite(listed.shared).all()
