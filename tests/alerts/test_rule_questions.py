"""The rules that are a yes or no each week, as pure functions on arrays."""

from math import exp, lgamma, log

import numpy as np
import pytest

from alerts.checks.rises import bars_of
from alerts.checks.rules import few_animals, hot_station, jump, missing_twice, over, quiet, siting, soon
from alerts.checks.rules.over import Week
from monitoring.analysis.hot_station import hot_stations
from tests.monitoring.analysis.farms import grid

NAN = np.nan


class TestSoon:
    def test_likely_within_two_weeks_and_no_further(self):
        words = np.array(["in_sight", "in_sight", "not_in_sight", "over_now", ""])
        assert soon.met(words, np.array([2.0, 3.0, NAN, NAN, NAN]), 2).tolist() == [True, False, False, False, False]

    def test_not_within_six_weeks_is_not_soon(self):
        assert not soon.met(np.array(["in_sight"]), np.array([np.inf]), 3).any()


class TestOneFarAboveTheRest:
    def apart(self, *weeks: list[float], k: float = 1.5):
        """Stations by week; the last week is judged."""
        counts = np.array(weeks, np.float64).T
        found = grid(counts)
        owner = np.zeros(len(counts), np.int64)
        hot = hot_stations(found, owner, 1, week=counts.shape[1] - 1)
        return hot_station.apart(found.of_week(counts.shape[1] - 1), hot, np.array([k])), hot

    def test_the_highest_against_the_mean_of_the_others(self):
        found, hot = self.apart([10, 10, 10, 10, 200], [20, 10, 15, 15, 300])
        assert (found.rate[0], found.others[0], found.times[0]) == (300, 15, 20)
        assert hot_station.met(found, hot, 4).tolist() == [True]

    def test_its_chance_is_that_of_a_negative_binomial_tail_times_the_stations(self):
        found, _ = self.apart([12, 8, 10, 10, 60])
        k, mean = 1.5, 10.0

        def log_pmf(y: int) -> float:  # Bliss and Fisher 1953, Biometrics 9:176-200, written with gamma functions
            return lgamma(y + k) - lgamma(k) - lgamma(y + 1) + k * log(k / (k + mean)) + y * log(mean / (k + mean))

        tail = 1 - sum(exp(log_pmf(y)) for y in range(60))
        assert found.chance[0] == pytest.approx(5 * tail, rel=1e-9)

    def test_one_week_is_not_enough(self):
        found, hot = self.apart([300, 10, 10, 10, 10], [10, 10, 10, 10, 300])
        assert not hot_station.met(found, hot, 4).any()

    def test_of_fewer_than_five_none_is_told(self):
        found, hot = self.apart([10, 10, 10, 200, NAN], [10, 10, 10, 300, NAN])
        assert np.isnan(found.times).all()
        assert not hot_station.met(found, hot, 4).any()

    def test_what_was_not_counted_is_no_zero_among_the_others(self):
        found, _ = self.apart([10, 10, 10, 10, NAN, 90])
        assert found.others[0] == 10

    def test_where_the_others_caught_nothing_half_a_fly_stands_in(self):
        found, hot = self.apart([0, 0, 0, 0, 1], [0, 0, 0, 0, 1])
        assert found.others[0] == pytest.approx(0.125)
        assert not hot_station.met(found, hot, 4).any(), "one fly is no news"

    def test_nothing_caught_is_nothing_told(self):
        found, hot = self.apart([0] * 6, [0] * 6)
        assert not hot_station.met(found, hot, 4).any()

    def test_a_farm_whose_stations_differ_as_usual_is_rarely_named(self):
        # Simulated: nine stations that scatter with k = 1.5, the one at the top the same in two weeks by chance.
        rng = np.random.default_rng(4)
        counts = rng.negative_binomial(1.5, 1.5 / (1.5 + 60), (2000, 9, 2)).astype(float)
        found = grid(counts.reshape(-1, 2))
        owner = np.repeat(np.arange(2000), 9)
        hot = hot_stations(found, owner, 2000, week=1)
        told = hot_station.met(hot_station.apart(found.of_week(1), hot, np.full(2000, 1.5)), hot, 4)
        assert told.mean() < 0.02


def test_a_jump_is_more_than_chance_explains():
    # Upper half per cent of the standard normal: 2.5758 (NIST/SEMATECH e-Handbook, 1.3.6.7.1).
    assert jump.met(np.array([2.575, 2.577, NAN]), 0.005).tolist() == [False, True, False]


class TestMissingTwice:
    def test_two_weeks_running_without_a_count(self):
        devices, missing = np.array([[1, 0, 0], [0, 1, 0], [1, 0, 1]]), np.array([[0, 1, 1], [1, 0, 1], [0, 1, 0]])
        assert missing_twice.met(devices, missing).tolist() == [True, False, False]

    def test_a_week_in_which_nobody_came_is_no_week(self):
        devices, missing = np.array([[0, 0, 0, 0]]), np.array([[1, 0, 0, 1]])
        assert missing_twice.met(devices, missing).tolist() == [True]

    def test_the_first_week_is_not_twice(self):
        assert missing_twice.met(np.array([[0]]), np.array([[1]])).tolist() == [False]
        assert missing_twice.met(np.array([[0, 0]]), np.array([[0, 1]])).tolist() == [False]


class TestSiting:
    def test_fewer_than_five_in_a_housing_unit(self):
        devices, housing = np.array([4, 5, 4, 0, 1]), np.array([True, True, False, True, True])
        hangs = np.array([True, True, True, True, False])
        assert siting.too_few(devices, housing, hangs, 5).tolist() == [True, False, False, False, False]

    def test_a_trap_has_to_be_confirmed_out_of_reach_a_card_not(self):
        methods, confirmed = np.array(["trap", "trap", "card", "trap"]), np.array([False, True, False, False])
        in_use = np.array([True, True, True, False])
        assert siting.not_out_of_reach(methods, confirmed, in_use).tolist() == [True, False, False, False]

    def test_what_hangs_in_wind(self):
        yes, no = True, False
        found = siting.in_wind(np.array([yes, yes, no]), np.array([yes, no, yes]), np.array([yes, yes, yes]))
        assert found.tolist() == [True, False, False]


def test_nine_animals_are_few_ten_are_not_and_none_is_no_count():
    animals = np.array([9.0, 10.0, 0.0, 9.0])
    assert few_animals.met(animals, np.array([False, False, False, True]), 10).tolist() == [True, False, False, False]


class TestQuiet:
    def test_two_counted_weeks_running(self):
        assert not quiet.ends([True], met=False, weeks=2)
        assert quiet.ends([True, False], met=False, weeks=2)
        assert not quiet.ends([True, False], met=True, weeks=2)
        assert not quiet.ends([False, True], met=False, weeks=2)

    def test_one_is_enough_where_the_rule_says_so(self):
        assert quiet.ends([True], met=False, weeks=1)


class TestEpisodes:
    def told(self, *shares: float | None) -> list[tuple[int, int | None]]:
        words = ["none" if share is None else "over" if share > 1 else "below" for share in shares]
        weeks = [Week(word, share) for word, share in zip(words, shares, strict=True)]
        return over.episodes(weeks, range(len(weeks)))

    def test_opens_over_closes_low_twice(self):
        assert self.told(0.5, 1.2, 0.9, 0.5, 0.5, 0.5) == [(1, 4)]

    def test_comes_back_within_three_weeks_as_the_same(self):
        assert self.told(1.2, 0.5, 0.5, 0.5, 0.5, 1.2) == [(0, None)]
        assert self.told(1.2, 0.5, 0.5, 0.5, 0.5, 0.5, 1.2) == [(0, 2), (6, None)]

    def test_ten_per_cent_about_the_level_for_26_weeks_is_one(self):
        rng = np.random.default_rng(8)
        for _ in range(200):
            assert len(self.told(*(1 + 0.1 * rng.uniform(-1, 1, 26)))) == 1


def test_the_bar_of_rises_is_benjamini_and_hochbergs_largest():
    # Benjamini and Hochberg 1995, J R Stat Soc B 57:289-300, their example of 15 p-values: at .05 four are named.
    p = [0.0001, 0.0004, 0.0019, 0.0095, 0.0201, 0.0278, 0.0298, 0.0344, 0.0459, 0.3240, 0.4262, 0.5719, 0.6528, 0.7590]
    assert bars_of({"card": [*p, 1.0], "trap": [0.9, 0.4]}, 0.05) == {"card": 0.0095, "trap": 0.0}
