"""The clock, the days of a farm, and ids in the order of time."""

from datetime import UTC, date, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as some

from farms import clock
from farms.ids import uuid7


def test_the_clock_is_the_machines_unless_a_file_moves_it(settings, tmp_path):
    before = datetime.now(UTC)
    assert before <= clock.now() <= datetime.now(UTC)
    moved = tmp_path / "clock"
    moved.write_text("2026-07-06T05:00:00+00:00\n")
    settings.CLOCK_FILE = str(moved)
    assert clock.now() == datetime(2026, 7, 6, 5, tzinfo=UTC)


@pytest.mark.parametrize(("moment", "zone", "day"), [
    # Offsets as in the IANA database: Chicago is six hours behind in winter, five in summer; Auckland thirteen ahead.
    (datetime(2026, 1, 15, 5, 59, tzinfo=UTC), "America/Chicago", date(2026, 1, 14)),
    (datetime(2026, 1, 15, 6, 0, tzinfo=UTC), "America/Chicago", date(2026, 1, 15)),
    (datetime(2026, 7, 15, 4, 59, tzinfo=UTC), "America/Chicago", date(2026, 7, 14)),
    (datetime(2026, 7, 15, 5, 0, tzinfo=UTC), "America/Chicago", date(2026, 7, 15)),
    (datetime(2026, 1, 14, 11, 0, tzinfo=UTC), "Pacific/Auckland", date(2026, 1, 15)),
])  # fmt: skip
def test_a_day_is_the_farms_own(moment, zone, day):
    assert clock.local_date(moment, zone) == day


@given(some.dates(date(1990, 1, 1), date(2090, 12, 31)))
def test_a_week_begins_as_in_iso_8601(day: date):
    """Against Python's own ISO calendar, which counts the week the other way round."""
    year, week, _weekday = day.isocalendar()
    assert clock.monday_of(day) == date.fromisocalendar(year, week, 1)


def test_ids_are_version_7_and_in_order():
    """RFC 9562, section 5.7: 48 bits of Unix time in milliseconds, version 7, variant 10."""
    made = [uuid7() for _ in range(500)]
    assert made == sorted(made)
    assert {(each.version, each.variant) for each in made} == {(7, "specified in RFC 4122")}
    told = datetime.fromtimestamp((made[-1].int >> 80) / 1000, UTC)
    assert abs(told - datetime.now(UTC)) < timedelta(minutes=1)
