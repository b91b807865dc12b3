"""What stands for days that nobody has measured: earlier years, else the last days, else nothing."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitoring.analysis.normal_temperatures import DayTemperatures, continued

TODAY = np.datetime64("2026-07-01")


def days_up_to_today(lowest, highest):
    lowest = np.atleast_2d(lowest)
    return DayTemperatures.of(TODAY - (lowest.shape[1] - 1), lowest, highest)


def years_of(mean_by_year, half=6.0, places=1):
    """Years of one mean temperature each, the newest last: of that 300 days up to today."""
    means = np.repeat(np.asarray(mean_by_year, float), [365] * (len(mean_by_year) - 1) + [300])
    return days_up_to_today(np.tile(means - half, (places, 1)), np.tile(means + half, (places, 1)))


def test_known_days_stay_as_they_are():
    known = days_up_to_today([10.0, 11.0, 12.0], [20.0, 21.0, 22.0])
    whole = continued(known, 3)
    assert (whole.temperatures.lowest[:, :3] == known.lowest).all()
    assert whole.source[0, :3].tolist() == ["known"] * 3
    assert whole.temperatures.day[-1] == TODAY + 3


def test_the_same_time_of_earlier_years_is_the_normal():
    # This year is far too warm; the two years before had means of 18 and 22.
    whole = continued(years_of([18, 22, 30]), 20)
    assert whole.source[0, -20:].tolist() == ["earlier_years"] * 20
    assert whole.temperatures.highest[0, -1] == pytest.approx(26.0)


def test_only_five_years_back_are_looked_at():
    whole = continued(years_of([99, 99, 20, 20, 20, 20, 20, 99]), 5)
    assert whole.temperatures.lowest[0, -1] == pytest.approx(14.0)


def test_without_an_earlier_year_the_last_fortnight_stands_for_six_weeks():
    whole = continued(days_up_to_today(np.r_[np.full(30, 2.0), np.full(14, 12.0)], np.full(44, 25.0)), 50)
    assert whole.temperatures.lowest[0, 44] == pytest.approx(12.0)
    assert whole.source[0, 44:].tolist() == ["recent_days"] * 42 + ["none"] * 8
    assert np.isnan(whole.temperatures.lowest[0, -1])


def test_days_that_are_not_known_yet_are_filled_from_the_last_known_on():
    known = days_up_to_today(np.r_[np.full(12, 12.0), np.nan, np.nan], np.full(14, 25.0))
    assert continued(known, 1).source[0].tolist() == ["known"] * 12 + ["recent_days"] * 3


def test_a_gap_between_known_days_stays_a_gap():
    known = days_up_to_today(np.r_[np.full(8, 12.0), np.nan, np.full(5, 12.0)], np.full(14, 25.0))
    whole = continued(known, 2)
    assert whole.source[0, 8] == "none"
    assert np.isnan(whole.temperatures.highest[0, 8])


def test_a_day_with_one_of_its_two_temperatures_is_not_known():
    whole = continued(days_up_to_today([10.0, 10.0, 10.0], [20.0, np.nan, 20.0]), 0)
    assert np.isnan(whole.temperatures.lowest[0, 1])


@pytest.mark.parametrize("known", [0, 1, 6])
def test_few_known_days_make_no_normal(known):
    lowest = np.r_[np.full(14 - known, np.nan), np.full(known, 12.0)]
    assert set(continued(days_up_to_today(lowest, np.full(14, 25.0)), 5).source[0, -5:]) == {"none"}


def test_days_of_long_ago_are_not_recent():
    lowest = np.r_[np.full(30, 12.0), np.full(20, np.nan)]
    assert set(continued(days_up_to_today(lowest, np.full(50, 25.0)), 5).source[0, -25:]) == {"none"}


def test_places_do_not_look_at_each_other():
    lowest = np.stack([np.full(14, 12.0), np.full(14, np.nan)])
    whole = continued(days_up_to_today(lowest, np.full((2, 14), 25.0)), 1)
    assert whole.source[:, -1].tolist() == ["recent_days", "none"]


def test_days_outside_of_what_is_held_are_not_known():
    cut = days_up_to_today([10.0, 11.0], [20.0, 21.0]).of_days(TODAY, 3)
    assert cut.lowest[0, 0] == 11.0
    assert np.isnan(cut.highest[0, 1:]).all()


@given(st.lists(st.integers(-300, 300), min_size=7, max_size=14), st.integers(0, 20))
def test_a_recent_normal_lies_between_what_was_seen(tenths, ahead):
    lowest = [each / 10 for each in tenths]
    known = days_up_to_today([lowest], [[each + 10 for each in lowest]])
    filled = continued(known, ahead).temperatures
    assert (filled.lowest >= min(lowest) - 1e-9).all() and (filled.lowest <= max(lowest) + 1e-9).all()
    assert (filled.lowest <= filled.highest).all()


def test_bad_input_is_refused_by_name():
    with pytest.raises(ValueError, match=r"^lowest must not be above highest"):
        days_up_to_today([20.0], [10.0])
    with pytest.raises(ValueError, match=r"^lowest must be finite"):
        days_up_to_today([-np.inf], [10.0])
    with pytest.raises(ValueError, match=r"^highest must have the shape \(1, 2\)"):
        days_up_to_today([1.0, 2.0], [10.0])
    with pytest.raises(ValueError, match=r"^ahead must not be negative"):
        continued(days_up_to_today([1.0], [10.0]), -1)
