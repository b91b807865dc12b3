"""Eggs to flies: ranges of days, dates and intervals between clean-outs, and the reasons where there are none."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitoring.analysis.development import (
    HORIZON,
    HOUSE_FLY,
    STABLE_FLY,
    clean_out_interval,
    flies_from_eggs,
    stage_days,
)
from monitoring.analysis.normal_temperatures import DayTemperatures

FIRST = np.datetime64("2026-07-01")
KINDS = pytest.mark.parametrize("kind", [HOUSE_FLY, STABLE_FLY], ids=lambda kind: kind.name)


def steady(temperature, n_days=HORIZON + 1, swing=0.0):
    """Days all alike, a row a temperature."""
    mean = np.repeat(np.atleast_1d(np.asarray(temperature, float))[:, None], n_days, axis=1)
    return DayTemperatures.of(FIRST, mean - swing, mean + swing)


def days(*numbers):
    return FIRST + np.array(numbers)


def dates(kind, temperatures, *laid):
    return flies_from_eggs(kind, temperatures, days(*laid or (0,)))


class TestDates:
    @KINDS
    def test_the_dates_are_those_of_the_days_at_steady_temperature(self, kind):
        weather = steady([16, 20, 25, 30, 35])
        for lines, dated in (
            (kind.to_adult, dates(kind, weather).flies),
            (kind.to_pupation, dates(kind, weather).maggots_leave),
        ):
            taken = stage_days(lines, weather)
            # Laid as the day began: over in the day in which the shortest time ends. As it ended: a day later.
            assert (dated.earliest[:, 0] == FIRST + np.ceil(taken.shortest).astype(int) - 1).all()
            assert (dated.latest[:, 0] == FIRST + np.ceil(taken.longest).astype(int)).all()

    @KINDS
    def test_maggots_leave_before_they_are_flies(self, kind):
        both = dates(kind, steady(np.arange(15.5, 38, 0.5), swing=6.0))
        assert (both.maggots_leave.earliest < both.flies.earliest).all()
        assert (both.maggots_leave.latest < both.flies.latest).all()

    def test_each_place_and_each_day_has_its_own(self):
        found = dates(STABLE_FLY, steady([20, 30]), 0, 10).flies
        assert found.earliest.shape == (2, 2)
        assert found.earliest[1, 0] < found.earliest[0, 0]
        assert (found.earliest[:, 1] - found.earliest[:, 0] == np.timedelta64(10)).all()

    def test_one_place_may_come_without_its_dimension(self):
        weather = DayTemperatures.of(FIRST, np.full(60, 20.0), np.full(60, 32.0))
        assert dates(STABLE_FLY, weather).flies.earliest.shape == (1, 1)

    def test_a_hot_spell_brings_them_earlier(self):
        usual, spell = steady(20, swing=6), steady(20, swing=6)
        spell.lowest[0, 5:12] += 8
        spell.highest[0, 5:12] += 8
        assert dates(STABLE_FLY, spell).flies.earliest < dates(STABLE_FLY, usual).flies.earliest

    @given(st.floats(12, 36), st.floats(0, 10), st.floats(0, 3))
    def test_a_warmer_place_is_never_later(self, mean, swing, more):
        for kind in (HOUSE_FLY, STABLE_FLY):
            both = dates(kind, steady([mean, mean + more], swing=swing)).flies
            cool, warm = (both.earliest[place, 0] for place in (0, 1))
            assert np.isnat(cool) or np.isnat(warm) or warm <= cool

    @given(st.lists(st.floats(10, 34), min_size=60, max_size=60))
    def test_the_earliest_day_is_never_after_the_latest(self, means):
        weather = DayTemperatures.of(FIRST, np.array(means) - 5, np.array(means) + 5)
        for kind in (HOUSE_FLY, STABLE_FLY):
            found = dates(kind, weather, 0, 7).flies
            there = ~np.isnat(found.latest)
            assert (found.earliest[there] < found.latest[there]).all()


class TestReasons:
    @KINDS
    def test_too_cold_to_finish_is_not_in_sight(self, kind):
        found = dates(kind, steady(9.0)).flies
        assert np.isnat(found.earliest[0, 0]) and np.isnat(found.latest[0, 0])
        assert (found.why_no_earliest[0, 0], found.why_no_latest[0, 0]) == ("not_in_sight", "not_in_sight")

    def test_near_the_threshold_the_earliest_may_be_in_sight_and_the_latest_not(self):
        found = dates(HOUSE_FLY, steady(14.0)).flies
        assert found.earliest[0, 0] == FIRST + 65
        assert (found.why_no_earliest[0, 0], found.why_no_latest[0, 0]) == ("", "not_in_sight")

    def test_a_day_that_is_needed_and_not_known_leaves_no_date(self):
        weather = steady(30.0)
        weather.lowest[0, 13] = np.nan
        found = dates(STABLE_FLY, weather).flies
        # 11.4 days end before it, 14.3 do not.
        assert (found.why_no_earliest[0, 0], found.why_no_latest[0, 0]) == ("", "no_temperatures")

    def test_a_missing_day_is_not_a_cold_one(self):
        weather = steady(30.0)
        weather.highest[0, 3] = np.nan
        found = dates(STABLE_FLY, weather).flies
        assert np.isnat(found.earliest[0, 0])
        assert found.why_no_earliest[0, 0] == "no_temperatures"

    def test_temperatures_that_end_too_early_say_so(self):
        found = dates(STABLE_FLY, steady(30.0, n_days=12)).flies
        assert (found.earliest[0, 0], found.why_no_latest[0, 0]) == (FIRST + 11, "no_temperatures")

    @pytest.mark.parametrize("laid", [-1, HORIZON + 1, HORIZON + 50])
    def test_eggs_of_a_day_outside_of_what_is_known(self, laid):
        found = dates(STABLE_FLY, steady(30.0), laid).flies
        assert (found.why_no_earliest[0, 0], found.why_no_latest[0, 0]) == ("no_temperatures",) * 2

    def test_nothing_known_at_all(self):
        found = dates(HOUSE_FLY, steady([np.nan, 30.0])).flies
        assert found.why_no_earliest[:, 0].tolist() == ["no_temperatures", ""]

    def test_no_day_at_all(self):
        empty = DayTemperatures.of(FIRST, np.empty((2, 0)), np.empty((2, 0)))
        assert (dates(HOUSE_FLY, empty).flies.why_no_earliest == "no_temperatures").all()
        assert stage_days(HOUSE_FLY.to_adult, empty).reason.tolist() == ["no_temperatures"] * 2

    def test_house_flies_of_days_above_38_degrees_come_to_nothing_and_stable_flies_are_not_judged_by_it(self):
        found = dates(HOUSE_FLY, steady([37.9, 38.1])).flies
        assert found.why_no_earliest[:, 0].tolist() == ["", "too_hot"]
        assert found.why_no_latest[:, 0].tolist() == ["", "too_hot"]
        assert dates(STABLE_FLY, steady(38.1)).flies.why_no_earliest[0, 0] == ""

    def test_one_day_above_38_degrees_does_not_kill_all(self):
        weather = steady(30.0)
        weather.lowest[0, 2] = weather.highest[0, 2] = 39.0
        assert dates(HOUSE_FLY, weather).flies.why_no_earliest[0, 0] == ""


class TestCleanOuts:
    @KINDS
    def test_the_interval_is_the_last_whole_day_before_the_first_maggots_leave(self, kind):
        for temperature in (18, 22, 26, 30, 34):
            week = steady(temperature, n_days=7, swing=6)
            found = clean_out_interval(kind, week)
            shortest = stage_days(kind.to_pupation, week).shortest
            assert found.every < shortest <= found.every + 1

    def test_seven_days_are_too_long_in_heat_and_not_in_a_cool_week(self):
        found = clean_out_interval(HOUSE_FLY, steady([18, 22, 30], n_days=7, swing=6))
        assert found.seven_is_too_long.tolist() == [False, True, True]
        assert found.every.tolist() == [9.0, 5.0, 3.0]

    def test_seven_days_by_the_published_points_alone_are_too_long_from_28_degrees(self):
        """Without the quick line: 5.2 days at 35 C, so 7.0 at 28.9 C; a tenth less warmth makes it 27.2 C."""
        published = HOUSE_FLY.to_pupation[:1]
        taken = stage_days(published, steady([27.0, 27.3], n_days=1))
        assert (taken.shortest < 7).tolist() == [False, True]

    def test_heat_is_where_the_days_reach_27_degrees_in_the_mean(self):
        found = clean_out_interval(HOUSE_FLY, steady([20.9, 21.0, np.nan], n_days=7, swing=6))
        assert found.in_heat.tolist() == [False, True, False]

    def test_without_temperatures_there_is_no_interval_and_a_reason(self):
        found = clean_out_interval(HOUSE_FLY, steady([np.nan, 5.0, 22.0], n_days=7))
        assert found.maggots.reason.tolist() == ["no_temperatures", "not_in_sight", ""]
        assert np.isnan(found.every[:2]).all()
        assert found.seven_is_too_long.tolist() == [False, False, True]

    def test_four_known_days_tell_of_a_week_and_three_do_not(self):
        week = steady([22.0, 22.0], n_days=7)
        week.lowest[0, :3] = np.nan
        week.lowest[1, :4] = np.nan
        found = clean_out_interval(HOUSE_FLY, week)
        assert found.maggots.reason.tolist() == ["", "no_temperatures"]
        assert found.every[0] == clean_out_interval(HOUSE_FLY, steady(22.0, n_days=7)).every[0]


def test_bad_input_is_refused_by_name():
    with pytest.raises(ValueError, match=r"^laid must be days"):
        flies_from_eggs(HOUSE_FLY, steady(20.0), np.array(["NaT"], "M8[D]"))
    with pytest.raises(ValueError, match=r"^laid must have one dimension"):
        flies_from_eggs(HOUSE_FLY, steady(20.0), np.array(FIRST))
    turned = DayTemperatures(FIRST, np.full((1, 7), 30.0), np.full((1, 7), 20.0))
    with pytest.raises(ValueError, match=r"^lowest must not be above highest"):
        clean_out_interval(HOUSE_FLY, turned)
    with pytest.raises(ValueError, match=r"must be finite"):
        flies_from_eggs(HOUSE_FLY, DayTemperatures(FIRST, np.full((1, 7), 3.0), np.full((1, 7), np.inf)), days(0))


def test_ten_thousand_places_in_a_call():
    rng = np.random.default_rng(7)
    means = rng.uniform(12, 30, (10_000, 1)) + rng.standard_normal((10_000, HORIZON + 1))
    found = dates(HOUSE_FLY, DayTemperatures.of(FIRST, means - 6, means + 6)).flies
    assert found.earliest.shape == (10_000, 1)
