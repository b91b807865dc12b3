"""The days of a plan against RFC 5545's own examples (3.8.5.3), and the one thing in which plans differ from it."""

from dataclasses import dataclass
from datetime import date, timedelta

import pytest
from dateutil.relativedelta import relativedelta
from hypothesis import given
from hypothesis import strategies as st
from icalendar import vRecur

from monitoring.rules.planned_work import days_of


@dataclass(frozen=True)
class Repeated:
    first_day: date
    every: int | None
    unit: str
    last_day: date | None


def days(year: int, **months: list[int]) -> list[date]:
    """A year's days as the RFC writes them: September 2,12,22; October 2,12."""
    numbers = {"jan": 1, "feb": 2, "mar": 3, "apr": 4, "sep": 9, "oct": 10, "nov": 11, "dec": 12}
    return [date(year, numbers[name], day) for name, found in months.items() for day in found]


SEPTEMBER_2 = date(1997, 9, 2)


@pytest.mark.parametrize(
    ("every", "unit", "last_day", "published"),
    [
        pytest.param(1, "day", date(1997, 9, 11), days(1997, sep=[*range(2, 12)]), id="Daily for 10 occurrences"),
        pytest.param(
            1, "day", date(1997, 12, 23),
            days(1997, sep=[*range(2, 31)], oct=[*range(1, 32)], nov=[*range(1, 31)], dec=[*range(1, 24)]),
            id="Daily until December 24, 1997",
        ),
        pytest.param(
            2, "day", date(1997, 12, 3),
            days(1997, sep=[*range(2, 31, 2)], oct=[*range(2, 31, 2)], nov=[*range(1, 30, 2)], dec=[1, 3]),
            id="Every other day - forever (as far as it is printed)",
        ),
        pytest.param(10, "day", date(1997, 10, 12), days(1997, sep=[2, 12, 22], oct=[2, 12]),
                     id="Every 10 days, 5 occurrences"),
        pytest.param(
            1, "week", date(1997, 11, 4), days(1997, sep=[2, 9, 16, 23, 30], oct=[7, 14, 21, 28], nov=[4]),
            id="Weekly for 10 occurrences",
        ),
        pytest.param(
            1, "week", date(1997, 12, 24),
            days(1997, sep=[2, 9, 16, 23, 30], oct=[7, 14, 21, 28], nov=[4, 11, 18, 25], dec=[2, 9, 16, 23]),
            id="Weekly until December 24, 1997",
        ),
        pytest.param(
            2, "week", date(1998, 2, 17),
            days(1997, sep=[2, 16, 30], oct=[14, 28], nov=[11, 25], dec=[9, 23]) + days(1998, jan=[6, 20], feb=[3, 17]),
            id="Every other week - forever (as far as it is printed)",
        ),
    ],
)  # fmt: skip
def test_the_examples_of_rfc_5545(every, unit, last_day, published):
    assert list(days_of(Repeated(SEPTEMBER_2, every, unit, last_day))) == published


def test_a_month_that_is_too_short_is_not_skipped():
    """RFC 5545, 3.8.5.3, "an example where an invalid date (i.e., February 30) is ignored": work that falls on the
    30th isn't left out for a month in February, but done on its last day. Our own choice, and told on the page.
    """
    ignored = vRecur.from_ical("FREQ=MONTHLY;BYMONTHDAY=30;COUNT=3")
    assert ignored["BYMONTHDAY"] == [30]
    plan = Repeated(date(2007, 1, 30), 1, "month", date(2007, 4, 30))
    assert list(days_of(plan)) == days(2007, jan=[30], feb=[28], mar=[30], apr=[30])
    end_of_month = Repeated(date(2027, 12, 31), 1, "month", date(2028, 4, 30))
    assert list(days_of(end_of_month)) == [date(2027, 12, 31), *days(2028, jan=[31], feb=[29], mar=[31], apr=[30])]


@given(
    first=st.dates(date(2000, 1, 1), date(2099, 12, 31)),
    every=st.integers(1, 13),
    unit=st.sampled_from(["day", "week", "month"]),
    spread=st.integers(0, 400),
)
def test_they_are_those_of_adding_steps_to_the_first_day(first, every, unit, spread):
    """Against dateutil's relativedelta, which puts a day that a month has not on its last one."""
    last = first + timedelta(days=spread)
    added = [first + relativedelta(**{f"{unit}s": every * step}) for step in range(202)]
    wanted = [day for day in added if day <= last][:201]
    assert list(days_of(Repeated(first, every, unit, last))) == wanted


def test_a_plan_of_one_day_has_that_day():
    assert days_of(Repeated(SEPTEMBER_2, None, "", None)) == (SEPTEMBER_2,)
