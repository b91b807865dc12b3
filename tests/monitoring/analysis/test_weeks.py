"""Weeks against the calendar of Python's standard library, which follows ISO 8601."""

import datetime as dt

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitoring.analysis.weeks import days_since_1970, middle_day, monday_of, week_index, week_of_exposure

DATES = st.dates(dt.date(1900, 1, 1), dt.date(2200, 12, 31))


def days(*texts: str) -> np.ndarray:
    return np.array(texts, "M8[D]")


@given(DATES)
def test_the_monday_is_that_of_the_iso_calendar(day: dt.date):
    year, week, _ = day.isocalendar()
    assert monday_of(np.array([day], "M8[D]"))[0].item() == dt.date.fromisocalendar(year, week, 1)


@given(DATES, st.integers(0, 60))
def test_the_middle_day_is_the_earlier_of_two(hung: dt.date, up: int):
    taken = hung + dt.timedelta(days=up)
    middle = middle_day(np.array([hung], "M8[D]"), np.array([taken], "M8[D]"))[0].item()
    before, after = (middle - hung).days, (taken - middle).days
    assert after - before in (0, 1)


def test_a_card_hung_over_a_weekend_belongs_to_the_week_of_its_middle_day():
    # 26 June to 3 July 2026, Friday to Friday: the middle day is Monday 29 June.
    assert week_of_exposure(days("2026-06-26"), days("2026-07-03"))[0] == np.datetime64("2026-06-29")
    # A day less, and the earlier middle day is a Sunday.
    assert week_of_exposure(days("2026-06-25"), days("2026-07-02"))[0] == np.datetime64("2026-06-22")


def test_a_leg_count_belongs_to_its_day():
    assert week_of_exposure(days("2026-07-05"), days("2026-07-05"))[0] == np.datetime64("2026-06-29")


def test_the_turn_of_the_year_is_one_week():
    assert (monday_of(days("2026-12-28", "2027-01-03")) == np.datetime64("2026-12-28")).all()


def test_what_is_not_known_stays_unknown():
    assert np.isnat(week_of_exposure(days("NaT", "2026-06-01"), days("2026-06-08", "NaT"))).all()
    assert np.isnan(days_since_1970(days("NaT")))[0]


def test_weeks_are_numbered_over_a_year_with_53():
    first = np.datetime64("2026-12-21")
    assert week_index(days("2026-12-14", "2026-12-21", "2026-12-28", "2027-01-04"), first).tolist() == [-1, 0, 1, 2]


def test_refusals_name_the_argument():
    with pytest.raises(ValueError, match=r"taken must not be before hung; look at index \(0,\)"):
        middle_day(days("2026-06-08"), days("2026-06-01"))
    with pytest.raises(ValueError, match="monday must be a date"):
        week_index(days("NaT"), np.datetime64("2026-06-01"))
