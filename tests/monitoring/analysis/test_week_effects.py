"""The week effects: what they are made of, what they leave out, and that they are found."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from monitoring.analysis.week_effects import CHUNK, _prepare, week_effects
from tests.monitoring.analysis.counts import NONE, K, simulated

CELLS = st.integers(0, 300).map(float) | st.just(0.0) | st.just(NONE)
FARMS = arrays(float, (1, 4, 8), elements=CELLS)
DAYS = arrays(float, (1, 4, 8), elements=st.integers(1, 20).map(float))
SOME_K = st.sampled_from([0.3, 1.5, 20.0, np.inf])


def fit(counts, days=7.0, k=K):
    """One farm (stations, weeks) with all exposures alike."""
    counts = np.array(counts, float)[None]
    return week_effects(counts, np.full(counts.shape, days), k)


@pytest.fixture
def rng():
    return np.random.default_rng(20260601)


class TestWhatTheyAre:
    @pytest.mark.parametrize("k", [0.3, 1.5, np.inf])
    def test_a_farm_that_doubles_every_week_has_steps_of_log_two(self, k):
        found = fit([[1, 2, 4, 8, 16], [3, 6, 12, 24, 48]], k=k)
        np.testing.assert_allclose(np.diff(found.effects[0]), np.log(2), rtol=1e-10)
        assert found.effects[0].sum() == pytest.approx(0, abs=1e-12)

    @pytest.mark.parametrize("k", [0.3, 1.5, np.inf])
    def test_one_station_gives_the_logs_of_its_own_rates(self, k):
        counts, days = np.array([[[3.0, 8, 1, 20]]]), np.array([[[7.0, 7, 5, 9]]])
        logs = np.log(counts / days)[0, 0]
        found = week_effects(counts, days, k)
        np.testing.assert_allclose(found.effects[0], logs - logs.mean(), atol=1e-10)
        assert found.stations[0, 0] == pytest.approx(logs.mean(), abs=1e-10)

    def test_a_station_effect_is_the_log_of_its_catch_a_day_in_a_mean_week(self):
        found = fit([[14, 28, 56], [7, 14, 28]])
        np.testing.assert_allclose(np.exp(found.stations[0]), [4, 2], rtol=1e-10)

    def test_an_endless_k_is_poisson(self, rng):
        counts, days = simulated(rng, farms=20)
        poisson = week_effects(counts, days, np.inf)
        np.testing.assert_array_equal(week_effects(counts, days).effects, poisson.effects)
        nearly = week_effects(counts, days, 1e12)
        np.testing.assert_allclose(nearly.effects, poisson.effects, atol=1e-8)
        np.testing.assert_allclose(nearly.noise, poisson.noise, atol=1e-8)
        apart = [np.abs(week_effects(counts, days, k).effects - poisson.effects).max() for k in (1.0, 10.0, 100.0, 1e4)]
        assert apart == sorted(apart, reverse=True)

    def test_a_small_k_gives_the_largest_stations_less_of_a_say(self):
        # The large station halves, three small ones double: by Poisson weights the farm falls, by k it rises.
        counts = [[1000, 500], [10, 20], [10, 20], [10, 20]]
        assert np.diff(fit(counts, k=np.inf).effects[0])[0] < 0 < np.diff(fit(counts, k=1.0).effects[0])[0]

    def test_each_count_may_have_a_k_of_its_own(self, rng):
        counts, days = simulated(rng, farms=4)
        whole = week_effects(counts, days, 1.5)
        np.testing.assert_array_equal(week_effects(counts, days, np.full(counts.shape, 1.5)).effects, whole.effects)
        by_farm = np.array([0.5, 1.5, 5.0, np.inf])[:, None, None]
        mixed = week_effects(counts, days, by_farm)
        for farm, k in enumerate(by_farm.ravel()):
            alone = week_effects(counts[farm : farm + 1], days[farm : farm + 1], k)
            np.testing.assert_allclose(mixed.effects[farm], alone.effects[0], atol=1e-10)


class TestTheirNoise:
    def test_one_station_counts_with_one_over_the_count_and_one_over_k(self):
        noise = fit([[5, 20, 80]], k=2.0).noise[0]
        difference = np.array([1.0, -1.0, 0.0])
        assert difference @ noise @ difference == pytest.approx(1 / 5 + 1 / 20 + 2 / 2.0, rel=1e-9)

    def test_four_times_the_stations_have_a_quarter_of_it(self):
        counts = [[5, 20, 80, 40], [7, 30, 60, 60]]
        np.testing.assert_allclose(fit(counts * 4).noise, fit(counts).noise / 4, rtol=1e-9, atol=1e-15)

    def test_it_is_symmetric_has_no_level_and_is_nowhere_negative(self, rng):
        counts, days = simulated(rng, farms=30, missing=0.4)
        noise = week_effects(counts, days, K).noise
        np.testing.assert_allclose(noise, noise.transpose(0, 2, 1), atol=1e-14)
        np.testing.assert_allclose(noise.sum(axis=2), 0, atol=1e-12)
        assert np.linalg.eigvalsh(noise).min() > -1e-12

    def test_a_week_outside_the_fit_has_none(self):
        found = fit([[5, NONE, 80, 40], [7, NONE, 60, 60]])
        assert np.isnan(found.effects[0]).tolist() == [False, True, False, False]
        assert (found.noise[0, 1] == 0).all() and (found.noise[0, :, 1] == 0).all()
        assert (np.diag(found.noise[0])[[0, 2, 3]] > 0).all()

    def test_a_week_with_a_lost_card_is_less_sure_than_the_others(self):
        counts = np.full((5, 6), 20.0)
        counts[0, 2] = NONE
        variance = np.diag(fit(counts).noise[0])
        assert variance.argmax() == 2


class TestWhatIsLeftOut:
    def test_a_missing_count_is_not_a_zero(self):
        lost, empty = fit([[9, NONE, 9, 9], [9, 9, 9, 9]]), fit([[9, 0, 9, 9], [9, 9, 9, 9]])
        np.testing.assert_allclose(lost.effects, 0, atol=1e-10)
        assert empty.effects[0, 1] < -0.4

    def test_days_are_not_looked_at_where_nothing_was_counted(self):
        counts, days = np.array([[[9.0, NONE, 9], [4, 8, 4]]]), np.full((1, 2, 3), 7.0)
        plain = week_effects(counts, days, K)
        for whatever in (NONE, -3.0, 0.0, np.inf):
            days[0, 0, 1] = whatever
            np.testing.assert_array_equal(week_effects(counts, days, K).effects, plain.effects)

    def test_a_station_that_never_caught_anything_says_nothing(self):
        with_it, without = fit([[3, 5, 8], [0, 0, 0]]), fit([[3, 5, 8]])
        np.testing.assert_allclose(with_it.effects, without.effects, atol=1e-12)
        assert np.isnan(with_it.stations[0]).tolist() == [False, True]

    def test_a_station_that_comes_and_goes_is_not_an_average_one(self):
        # A station three times as rich as the other is counted in the last two weeks only: nothing has changed.
        found = fit([[10, 10, 10, 10], [NONE, NONE, 30, 30]])
        np.testing.assert_allclose(found.effects, 0, atol=1e-10)

    def test_a_week_of_zeros_counts_as_half_a_fly(self):
        with_zeros, with_half = fit([[4, 0, 9, 5]]), fit([[4, 0.5, 9, 5]])
        np.testing.assert_allclose(with_zeros.effects, with_half.effects, atol=1e-12)

    def test_half_a_fly_is_shared_by_days(self):
        counts, days = np.array([[[4.0, 0, 9], [6, 0, 8]]]), np.array([[[7.0, 2, 7], [7, 8, 7]]])
        shared = counts.copy()
        shared[0, :, 1] = [0.1, 0.4]
        np.testing.assert_allclose(week_effects(counts, days).effects, week_effects(shared, days).effects, atol=1e-10)

    def test_weeks_on_other_stations_than_the_newest_are_left_out(self):
        found = fit([[9, 4] + [NONE] * 4, [NONE] * 2 + [30, 40, 50, 60]])
        assert np.isnan(found.effects[0]).tolist() == [True, True, False, False, False, False]
        assert np.isnan(found.stations[0]).tolist() == [True, False]

    def test_stations_that_would_send_an_effect_to_infinity_do_not(self):
        # The first caught in weeks 1-4 and nothing after, the second was hung in week 5: nothing joins the two.
        found = fit([[5, 6, 7, 8, 0, 0, 0, 0], [NONE] * 4 + [5, 6, 7, 8]])
        assert np.flatnonzero(found.used[0]).tolist() == [4, 5, 6, 7]

    def test_one_week_has_the_effect_zero(self):
        found = fit([[NONE, 3], [NONE, 4]])
        assert np.isnan(found.effects[0, 0]) and found.effects[0, 1] == 0
        assert (found.noise == 0).all()

    def test_nothing_counted_and_nothing_caught_are_no_weeks(self):
        assert not fit([[NONE] * 4] * 3).used.any()
        assert not fit([[0] * 4] * 3).used.any()

    def test_no_farms_and_no_stations_are_no_weeks(self):
        assert week_effects(np.ones((0, 3, 8)), np.ones((0, 3, 8)), K).effects.shape == (0, 8)
        assert not week_effects(np.ones((2, 0, 8)), np.ones((2, 0, 8)), K).used.any()


class TestManyFarms:
    def test_farms_side_by_side_do_not_touch_each_other(self, rng):
        counts, days = simulated(rng, farms=CHUNK + 3, stations=4)
        counts[1], counts[2] = 0.0, NONE
        together = week_effects(counts, days, K)
        for farm in (0, 1, 2, CHUNK - 1, CHUNK, CHUNK + 2):
            alone = week_effects(counts[[farm]], days[[farm]], K)
            np.testing.assert_allclose(together.effects[farm], alone.effects[0], atol=1e-12)
            np.testing.assert_allclose(together.noise[farm], alone.noise[0], atol=1e-12)

    def test_padding_is_not_looked_at(self, rng):
        counts, days = simulated(rng, farms=5, stations=4)
        wider = [np.concatenate([each, np.full((5, 3, 8), NONE)], axis=1) for each in (counts, days)]
        np.testing.assert_allclose(week_effects(*wider, K).effects, week_effects(counts, days, K).effects, atol=1e-12)

    @pytest.mark.parametrize("k", [0.3, 1.5, np.inf])
    def test_the_fit_is_found_from_anywhere(self, k):
        """Counts from 0 to a billion side by side, most of them missing: no farm is given up on."""
        rng = np.random.default_rng(5)
        with np.errstate(under="ignore"):
            counts = np.floor(np.exp(rng.uniform(-3, 20.7, (2000, 6, 8)) * rng.random((2000, 1, 1))))
        counts[rng.random(counts.shape) < 0.4] = NONE
        counts[rng.random(counts.shape) < 0.4] = 0.0
        days = np.full(counts.shape, 7.0)
        given = _prepare(counts, days)[2]
        found = week_effects(counts, days, k)
        several = given.sum(axis=1) > 1
        assert several.sum() > 1500
        assert (found.used == given)[several].all()
        assert np.isfinite(found.noise).all()


@pytest.mark.parametrize(
    ("count", "days", "k", "argument"),
    [
        (-1.0, 7.0, K, "counts"),
        (np.inf, 7.0, K, "counts"),
        (-np.inf, 7.0, K, "counts"),
        (2e9, 7.0, K, "counts"),
        (5.0, 0.0, K, "days"),
        (5.0, -7.0, K, "days"),
        (5.0, NONE, K, "days"),
        (5.0, np.inf, K, "days"),
        (5.0, 7.0, 0.0, "k"),
        (5.0, 7.0, -1.5, "k"),
        (5.0, 7.0, NONE, "k"),
    ],
)
def test_bad_input_is_refused_by_the_name_of_its_argument(count, days, k, argument):
    counts, exposure, each_k = np.full((2, 3, 8), 4.0), np.full((2, 3, 8), 7.0), np.full((2, 3, 8), K)
    counts[1, 2, 3], exposure[1, 2, 3], each_k[1, 2, 3] = count, days, k
    with pytest.raises(ValueError, match=rf"^{argument} must .* look at index \(1, 2, 3\)"):
        week_effects(counts, exposure, each_k)


def test_unlike_shapes_are_refused():
    with pytest.raises(ValueError, match=r"^days must have the shape"):
        week_effects(np.ones((1, 2, 8)), np.ones((1, 2, 7)), K)
    with pytest.raises(ValueError, match=r"^counts must have three axes"):
        week_effects(np.ones((2, 8)), np.ones((2, 8)), K)


@given(FARMS, DAYS, SOME_K, st.permutations(range(4)))
@settings(max_examples=200)
def test_the_order_of_stations_changes_nothing(counts, days, k, order):
    one, other = week_effects(counts, days, k), week_effects(counts[:, order], days[:, order], k)
    np.testing.assert_allclose(one.effects, other.effects, atol=1e-9)
    np.testing.assert_allclose(one.noise, other.noise, rtol=1e-6, atol=1e-9)
    np.testing.assert_allclose(one.stations[:, order], other.stations, atol=1e-9)


@given(FARMS, DAYS, SOME_K, st.integers(2, 9))
def test_more_days_everywhere_move_the_stations_and_no_week(counts, days, k, times):
    one, other = week_effects(counts, days, k), week_effects(counts, days * times, k)
    np.testing.assert_allclose(one.effects, other.effects, atol=1e-8)
    np.testing.assert_allclose(one.stations, other.stations + np.log(times), atol=1e-8)


@given(FARMS, DAYS, st.integers(2, 9))
def test_poisson_counts_and_days_times_the_same_number_change_nothing(counts, days, times):
    # A week of zeros is the exception: its half count is half of one fly, whatever the days.
    counts = np.where(counts == 0, 1.0, counts)
    one, other = week_effects(counts, days), week_effects(counts * times, days * times)
    np.testing.assert_allclose(one.effects, other.effects, atol=1e-8)
    np.testing.assert_allclose(one.noise, times * other.noise, rtol=1e-6, atol=1e-9)


@given(FARMS, DAYS, SOME_K)
@settings(max_examples=200)
def test_what_is_fitted_balances_what_was_caught_in_every_week_and_station(counts, days, k):
    """The score is zero: counts above and below their means, each over 1 + m/k, cancel; Poisson: totals agree."""
    found = week_effects(counts, days, k)
    y, d, weeks = _prepare(counts, days)
    if weeks.sum() < 2:
        return
    mean = d * np.exp(np.nan_to_num(found.stations)[:, :, None] + np.nan_to_num(found.effects)[:, None, :])
    score = (y - mean) / (1 + mean / k)
    np.testing.assert_allclose(score.sum(axis=1), 0, atol=1e-6)
    np.testing.assert_allclose(score.sum(axis=2), 0, atol=1e-6)


@given(arrays(float, (2, 3, 6), elements=CELLS), SOME_K)
def test_every_week_has_a_number_or_is_left_out(counts, k):
    found = week_effects(counts, np.full(counts.shape, 7.0), k)
    counted = ~np.isnan(counts).all(axis=1)
    assert not (found.used & ~counted).any()
    assert np.isfinite(found.noise).all()
    np.testing.assert_allclose(np.nansum(found.effects, axis=1), 0, atol=1e-9)
