"""The digest's line on the time from egg to fly: only where temperatures are known, and never of days to come."""

from datetime import timedelta

import pytest

from alerts.delivery.digest import queue_digests
from alerts.models import Digest
from monitoring.rules.temperatures import table_of_days
from monitoring.services import record_temperatures
from tests.alerts.scene import check, check_time, count_week, monday
from tests.cast import as_factory, as_role

pytestmark = pytest.mark.django_db
WEEK = monday(7)
DAY = WEEK + timedelta(days=7)
LINE = "At this week's temperatures maggots leave the bedding after 4 to 11 days and are flies after 7 to 18 days."


@pytest.fixture
def mail(group, northfield, cards):
    count_week(cards, WEEK, [20] * 5)
    check(group, WEEK)

    def written(farm=northfield):
        with as_role("worker"):
            queue_digests(group, [farm], week=WEEK, now=check_time(WEEK))
        with as_factory():
            row = Digest.objects.get(farm=farm)
        assert " ".join(row.text.split())
        return row

    return written


def weather(region, lowest, highest, *, until=DAY, n_days=21):
    days = [(until - timedelta(days=back), lowest, highest) for back in range(1, n_days + 1)]
    record_temperatures(region=region, table=table_of_days(days), now=check_time(until))


def flat(row):
    return " ".join(row.text.split())


def test_one_line_where_temperatures_are_known(mail, northfield):
    weather(northfield.region, 18.0, 30.0)
    row = mail()
    text = flat(row)
    assert f"{LINE} A clean-out after that misses them. Seven days can be too long in this heat." in text
    assert "maggots leave the bedding" in row.html
    # Where a clean-out is spoken of, the caution stands below.
    assert "stay out of pits" in text


def test_nothing_where_none_are(mail):
    text = flat(mail())
    assert "maggots" not in text and "temperatures" not in text


def test_nothing_where_it_is_too_cold(mail, northfield):
    weather(northfield.region, -2.0, 8.0)
    assert "maggots" not in flat(mail())


def test_days_to_come_are_not_known_even_where_they_are_stored(mail, northfield):
    weather(northfield.region, 18.0, 30.0, until=DAY + timedelta(days=30), n_days=21)
    assert "maggots" not in flat(mail())


def test_a_farm_that_only_counts_legs_is_told_of_stable_flies(group, northfield, leg_station, mail):
    from alerts.delivery.development_sentences import kind_told
    from alerts.selectors.farm_weeks import FarmWeek

    for methods, kind in ((("leg",), "stable_fly"), (("card", "leg"), "house_fly"), ((), "house_fly")):
        told = FarmWeek(northfield, WEEK, DAY, farm_rows=dict.fromkeys(methods))
        assert kind_told(told) == kind
