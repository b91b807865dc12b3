"""Has it begun to rise? The farm's own test, what it may borrow, and how often it is wrong."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from monitoring.analysis.correlated_weeks import PRINTED, WeekScatter
from monitoring.analysis.farm_weeks import farm_weeks_from
from monitoring.analysis.rise import find_rises, find_rises_for_list, null_draws_of
from monitoring.analysis.rise_statistic import changes_of, t_of_changes
from monitoring.analysis.simulated_farms import Network, rise_of, simulate_farms
from monitoring.analysis.week_scatter import fit_week_scatter
from tests.monitoring.analysis.counts import MONDAYS, NONE, K, exactly_known, simulated, weeks_of

NETWORK = WeekScatter(shock=0.3, stays=0.2, counting=1.0, growth=0.1, degrees=12.0, k=K, farms=150)
LEVEL = [40.0, 42, 38, 41, 40, 39, 43, 40]
RISING = [40.0, 42, 38, 41, 40, 80, 160, 320]
BOTH = pytest.mark.parametrize("find", [find_rises, find_rises_for_list])


def simulated_weeks(farms, weeks, *, seed=1, growth=None, **options):
    """The weeks of simulated farms, level unless a growth is given, and the scatter of others like them."""
    rng = np.random.default_rng(seed)
    network = Network(**options)
    with np.errstate(under="ignore"):
        others = simulate_farms(rng, network, 400, 12, np.zeros(12)).counts
        counts = simulate_farms(rng, network, farms, weeks, np.zeros(weeks) if growth is None else growth).counts
    return weeks_of(counts), fit_week_scatter(weeks_of(others), K)


class TestOneFarm:
    @BOTH
    def test_a_rise_is_found_and_when_it_began(self, find):
        rises = find(weeks_of([RISING] * 9), NETWORK)
        assert rises.p_rise[0] < 0.01 and rises.p_fall[0] > 0.5
        assert rises.start[0] == 3
        assert rises.rise[0] > 0 > rises.fall[0]

    @BOTH
    def test_so_is_a_fall(self, find):
        rises = find(weeks_of([[40.0, 42, 38, 41, 40, 20, 10, 5]] * 9), NETWORK)
        assert rises.p_fall[0] < 0.01 and rises.p_rise[0] > 0.5
        assert rises.start[0] == 3

    @pytest.mark.parametrize("weeks_ago", [1, 2, 3])
    def test_the_start_is_told(self, weeks_ago):
        effects = rise_of(8, lasts=weeks_ago, growth=1.0) + 0.01 * np.array([1, -1, 1, -1, 1, -1, 1, -1])
        assert find_rises(exactly_known(effects), NETWORK).start[0] == weeks_ago

    @BOTH
    def test_a_level_farm_is_neither(self, find):
        rises = find(weeks_of([LEVEL] * 9), NETWORK)
        assert rises.p_rise[0] > 0.1 and rises.p_fall[0] > 0.1

    def test_a_farm_that_stands_still_to_the_last_digit_is_neither(self):
        rises = find_rises(weeks_of([[40.0] * 8] * 9), NETWORK)
        assert rises.p_rise[0] > 0.1 and rises.p_fall[0] > 0.1

    def test_a_rise_long_over_is_none(self):
        assert find_rises(weeks_of([[10.0, 20, 40, 80, 80, 82, 78, 80]] * 9), NETWORK).p_rise[0] > 0.1

    def test_more_stations_make_a_rise_surer(self):
        one, many = (find_rises(weeks_of([RISING] * number), NETWORK).p_rise[0] for number in (1, 9))
        assert many < one

    def test_more_weeks_make_a_rise_surer(self):
        few, many = (find_rises(weeks_of([LEVEL[:number] + RISING[4:]] * 9), NETWORK).p_rise[0] for number in (2, 8))
        assert many < few


class TestWhereNothingIsSaid:
    @BOTH
    @pytest.mark.parametrize(
        ("counts", "reason"),
        [
            ([[*LEVEL[:7], NONE]] * 2, "not_this_week"),
            ([[NONE] * 8] * 2, "no_counts"),
            ([[NONE] * 5 + [30, 40, 50]], "too_few_weeks"),
            ([[0] * 8] * 2, "all_zero"),
            ([[8] * 8], "too_few_counts"),
            ([[30, 40, 50, 60, 40] + [NONE] * 3, [NONE] * 5 + [30, 40, 50]], "not_comparable"),
            ([[40]], "too_few_weeks"),
        ],
    )
    def test_there_is_a_reason_and_no_number(self, find, counts, reason):
        rises = find(weeks_of(counts), NETWORK)
        assert (rises.reason[0], rises.start[0]) == (reason, 0)
        assert np.isnan([rises.rise, rises.fall, rises.p_rise, rises.p_fall]).all()

    @BOTH
    def test_no_farms_are_no_rises(self, find):
        assert find(weeks_of(np.ones((0, 3, 8)))).p_rise.shape == (0,)

    def test_farms_side_by_side_do_not_touch_each_other(self):
        counts = np.array([RISING, [0.0] * 8, LEVEL, [*LEVEL[:7], NONE]])[:, None].repeat(4, axis=1)
        together = find_rises(weeks_of(counts), NETWORK)
        assert together.reason.tolist() == ["", "all_zero", "", "not_this_week"]
        for farm in (0, 2):
            assert together.p_rise[farm] == find_rises(weeks_of(counts[farm]), NETWORK).p_rise[0]

    def test_a_week_missing_in_between_is_not_a_zero(self):
        gap = [40.0, 42, 38, NONE, 40, 39, 43, 40]
        rises = find_rises(weeks_of([gap] * 9), NETWORK)
        assert rises.p_rise[0] > 0.1 and rises.p_fall[0] > 0.1

    def test_a_change_that_no_week_tells_from_the_level_is_zero(self):
        # Both weeks of a change from one week back are missing but the newest: nothing else is new.
        level, effects = np.ones((1, 5)), np.array([[0.1, -0.2, 0.3, 0.0, -0.2]])
        same_as_level = np.stack([level, effects, 2 * level], axis=2)
        assert t_of_changes(same_as_level, np.array([3.0]), 1.0).tolist() == [[0.0]]


class TestWhatItBorrows:
    def test_a_network_under_thirty_farms_is_not_used(self):
        weeks = weeks_of(simulated(np.random.default_rng(1), farms=5)[0])
        few, none = find_rises(weeks, replace(NETWORK, farms=29)), find_rises(weeks)
        np.testing.assert_array_equal(few.p_rise, none.p_rise)
        np.testing.assert_array_equal(find_rises(weeks, PRINTED).p_rise, none.p_rise)

    def test_its_own_test_takes_one_degree_of_the_networks_and_the_list_all(self):
        weeks = weeks_of(simulated(np.random.default_rng(1), farms=5)[0])
        own, listed = find_rises(weeks, NETWORK), find_rises_for_list(weeks, NETWORK)
        np.testing.assert_array_equal(own.rise, changes_of(weeks, NETWORK, 1.0).max(axis=1))
        np.testing.assert_array_equal(listed.rise, changes_of(weeks, NETWORK, 12.0).max(axis=1))

    def test_a_quiet_farm_is_not_hushed_by_a_noisy_network(self):
        # A doubling in a farm whose weeks differ by a hundredth, in a network whose weeks differ by a third.
        quiet = exactly_known(rise_of(8, lasts=3, growth=0.1) + 0.01 * np.array([1, -1, 1, -1, 1, -1, 1, -1]))
        assert find_rises(quiet, NETWORK).p_rise[0] < find_rises_for_list(quiet, NETWORK).p_rise[0]

    def test_null_distributions_are_by_weeks_and_by_how_uncertain_counts_are(self):
        counts = np.full((4, 9, 8), 40.0)
        counts[1, :, 2], counts[2, 1:] = NONE, NONE
        found = null_draws_of(weeks_of(counts), NETWORK, 1.0)
        assert sorted(np.flatnonzero(rows).tolist() for _, rows in found) == [[0, 3], [1], [2]]


FALSE_ALARMS = [(9, 0.3, 0.0, 8), (9, 0.15, 0.0, 12), (25, 0.3, 0.5, 8), (5, 0.0, 0.0, 8)]


@pytest.mark.parametrize(("stations", "shock", "stays", "weeks"), FALSE_ALARMS)
def test_one_level_farm_in_twenty_is_called_rising(stations, shock, stays, weeks, capsys):
    """Simulated; 4,000 farms have a standard error of .35 %, and the scatter of the network is fitted on 400 others."""
    found, scatter = simulated_weeks(4000, weeks, stations=stations, shock=shock, stays=stays)
    rises = find_rises(found, scatter)
    told = rises.reason == ""
    share_up, share_down = (float((p[told] < 0.05).mean()) for p in (rises.p_rise, rises.p_fall))
    with capsys.disabled():
        print(f"\n{stations} stations, shock {shock}, stays {stays}, {weeks} weeks: {100 * share_up:.1f} % of level")
        print(f"farms are called rising, {100 * share_down:.1f} % falling, by a 5 % test")
    assert 0.038 < share_up < 0.062
    assert 0.035 < share_down < 0.065


def test_a_farm_that_doubles_every_two_weeks_is_mostly_found(capsys):
    """Simulated: three weeks after a rise began, 9 stations, shock .3, from 8 weeks and from 12."""
    power = []
    for weeks in (8, 12):
        found, scatter = simulated_weeks(2000, weeks, growth=rise_of(weeks, lasts=3))
        power.append(float(np.nanmean(find_rises(found, scatter).p_rise < 0.05)))
    with capsys.disabled():
        print(f"\nthree weeks into a rise, one check finds {100 * power[0]:.0f} % (8 weeks), {100 * power[1]:.0f} (12)")
    assert power[0] > 0.6
    assert power[1] >= power[0]


CELLS = st.integers(0, 300).map(float) | st.just(0.0) | st.just(NONE)
FARMS = arrays(float, (2, 4, 8), elements=CELLS)
SCATTERS = st.sampled_from([None, NETWORK])


@given(FARMS, SCATTERS)
@settings(max_examples=150)
def test_every_farm_has_all_its_numbers_or_a_reason(counts, scatter):
    rises = find_rises(weeks_of(counts), scatter)
    told = rises.reason == ""
    for number in (rises.rise, rises.fall, rises.p_rise, rises.p_fall):
        np.testing.assert_array_equal(np.isfinite(number), told)
    assert ((rises.p_rise[told] > 0) & (rises.p_rise[told] <= 1)).all()
    np.testing.assert_array_equal(rises.start > 0, told)


@given(FARMS, SCATTERS, st.permutations(range(4)))
@settings(max_examples=60)
def test_the_order_of_stations_changes_nothing(counts, scatter, order):
    one, other = find_rises(weeks_of(counts), scatter), find_rises(weeks_of(counts[:, order]), scatter)
    np.testing.assert_array_equal(one.reason, other.reason)
    np.testing.assert_allclose(one.rise, other.rise, rtol=1e-5, atol=1e-5)


@given(FARMS, st.integers(2, 9))
@settings(max_examples=60)
def test_more_days_everywhere_change_nothing(counts, times):
    days = np.full(counts.shape, 5.0)
    one, other = (find_rises(farm_weeks_from(counts, each, MONDAYS, K)) for each in (days, days * times))
    np.testing.assert_allclose(one.rise, other.rise, rtol=1e-5, atol=1e-5)
