"""What arrives after Monday's run has its week judged again: new revisions, and no alert about the past."""

from datetime import timedelta

import pytest

from alerts import monday as a_monday
from alerts.checks.group_week import judge_late_readings, retry_failures
from alerts.models import Assessment, CheckFailure, Digest
from farms.models import Farm, Group, Region, User
from monitoring.models import Station
from tests.alerts.scene import alerts, check, check_time, correct, count_week, events, monday, result
from tests.cast import as_factory, as_role, make_facility, make_farm, make_stations

pytestmark = pytest.mark.django_db
HIGH, LOW = [150] * 5, [50] * 5
AFTER = timedelta(hours=30)


def judge_late(group: Group, week, *, after: timedelta = AFTER) -> int:
    """The tick that looks for late readings, some time after a week's Monday."""
    with as_role("worker"):
        return judge_late_readings(group, check_time(week) + after)


def test_a_late_reading_makes_a_new_revision_of_its_week(group: Group, northfield: Farm, cards: list[Station]):
    count_week(cards[:4], monday(0), [50] * 4)
    check(group, monday(0))
    count_week(cards[4:], monday(0), [70], received=check_time(monday(0)) + timedelta(hours=3))
    judge_late(group, monday(0))
    row = result(northfield, monday(0))
    assert (row.revision, row.mean, row.devices) == (2, 54.0, 5)
    assert result(northfield, monday(0), revision=1).mean == 50.0


def test_what_stays_the_same_gets_no_new_revision(group: Group, northfield: Farm, cards: list[Station]):
    count_week(cards, monday(0), LOW)
    check(group, monday(0))
    with as_factory():
        before = Assessment.objects.count()
    for hours in (1, 2):
        judge_late(group, monday(0), after=timedelta(hours=hours))
    with as_factory():
        assert Assessment.objects.count() == before


def test_nothing_late_is_looked_at_twice(group: Group, northfield: Farm, cards: list[Station]):
    count_week(cards[:4], monday(0), [50] * 4)
    check(group, monday(0))
    count_week(cards[4:], monday(0), [70], received=check_time(monday(0)) + timedelta(hours=3))
    assert judge_late(group, monday(0)) == 1
    assert judge_late(group, monday(0), after=AFTER + timedelta(minutes=10)) == 0


def test_the_newest_week_judged_again_opens_an_alert(group: Group, northfield: Farm, cards: list[Station]):
    readings = count_week(cards, monday(0), LOW)
    check(group, monday(0))
    for reading in readings:
        correct(reading, 150, received=check_time(monday(0)) + timedelta(hours=1))
    judge_late(group, monday(0))
    assert {alert.opened_week for alert in alerts(northfield, rule="over")} == {monday(0)}


def test_an_older_week_judged_again_opens_and_closes_nothing(group: Group, northfield: Farm, cards: list[Station]):
    first = count_week(cards, monday(0), LOW)
    check(group, monday(0))
    count_week(cards, monday(1), LOW)
    check(group, monday(1))
    for reading in first:
        correct(reading, 150, received=check_time(monday(1)) + timedelta(hours=1))
    judge_late(group, monday(1))
    assert (result(northfield, monday(0)).result, result(northfield, monday(0)).revision) == ("over", 2)
    assert alerts(northfield, rule="over") == []


def test_an_alert_opened_by_a_slip_of_the_pen_closes_when_the_slip_is_corrected(
    group: Group, northfield: Farm, cards: list[Station]
):
    slip = count_week(cards, monday(0), [50, 50, 50, 50, 1500])[4]
    check(group, monday(0))
    correct(slip, 150 // 3, received=check_time(monday(0)) + timedelta(hours=1))
    judge_late(group, monday(0))
    assert {alert.closed_because for alert in alerts(northfield, rule="over")} == {"corrected"}


def test_an_alert_that_stays_is_not_told_again_when_its_week_is_judged_again(
    group: Group, northfield: Farm, cards: list[Station]
):
    for week in (monday(0), monday(1)):
        count_week(cards, week, HIGH)
        check(group, week)
    extra = make_stations(make_facility(northfield, "Hutches", "calf_hutches"), "card", range(6, 7))
    count_week(extra, monday(1), [10], received=check_time(monday(1)) + timedelta(hours=1))
    judge_late(group, monday(1))
    for alert in alerts(northfield, rule="over"):
        assert events(alert) == [("opened", monday(0)), ("stayed", monday(1))]


def test_a_late_week_moves_the_trend_of_the_weeks_after_it(group: Group, northfield: Farm, cards: list[Station]):
    for number in range(6):
        if number != 1:
            count_week(cards, monday(number), [10 + 3 * number] * 5)
        check(group, monday(number))
    assert result(northfield, monday(5)).weeks_observed == 5
    count_week(cards, monday(1), [13] * 5, received=check_time(monday(5)) + timedelta(hours=1))
    judge_late(group, monday(5))
    assert (result(northfield, monday(5)).weeks_observed, result(northfield, monday(5)).revision) == (6, 2)


def test_more_than_eight_weeks_back_stays_as_it_was(group: Group, northfield: Farm, cards: list[Station]):
    for number in range(9):
        count_week(cards, monday(number), LOW)
        check(group, monday(number))
    extra = make_stations(make_facility(northfield, "Hutches", "calf_hutches"), "card", range(6, 7))
    for week in (monday(0), monday(1)):
        count_week(extra, week, [10], received=check_time(monday(8)) + timedelta(hours=1))
    judge_late(group, monday(8))
    assert result(northfield, monday(0)).revision == 1
    assert result(northfield, monday(1)).revision == 2


class TestAPoisonedFarm:
    def test_is_set_aside_with_its_error_while_the_others_are_judged(
        self, group: Group, region: Region, northfield: Farm, cards: list[Station], carla: User
    ):
        poisoned = [make_farm(f"Nowhere {number}", region, carla, time_zone="Mars/Base") for number in range(2)]
        count_week(cards, monday(0), LOW)
        run = check(group, monday(0))
        assert (run.farms, run.failures) == (3, 2)
        assert result(northfield, monday(0)).mean == 50.0
        with as_factory():
            failures = CheckFailure.objects.order_by("farm_id")
            assert {failure.farm_id for failure in failures} == {farm.id for farm in poisoned}
            assert "Mars/Base" in failures[0].error
            assert failures[0].retry_at > check_time(monday(0))

    def test_is_tried_again_and_solved(self, group: Group, region: Region, carla: User):
        farm = make_farm("Nowhere", region, carla, time_zone="Mars/Base")
        make_stations(make_facility(farm, "Calf barn", "calf_barn"), "card", range(1, 6))
        check(group, monday(0))
        later = check_time(monday(0)) + timedelta(hours=2)
        with as_role("worker"):
            assert retry_failures(group, check_time(monday(0)) + timedelta(minutes=5)) == []
            assert retry_failures(group, later) == []
        with as_factory():
            Farm.objects.filter(id=farm.id).update(time_zone="America/Chicago")
        with as_role("worker"):
            assert retry_failures(group, later + timedelta(hours=2)) == [farm]
        with as_factory():
            assert CheckFailure.objects.get().solved_at is not None
            assert Assessment.objects.filter(farm=farm, week=monday(0)).exists()

    def test_gets_its_mail_when_it_is_solved(self, group: Group, region: Region, carla: User):
        farm = make_farm("Nowhere", region, carla, time_zone="Mars/Base")
        make_stations(make_facility(farm, "Calf barn", "calf_barn"), "card", range(1, 6))
        check(group, monday(0))
        with as_factory():
            Farm.objects.filter(id=farm.id).update(time_zone="America/Chicago")
        with as_role("worker"):
            assert a_monday.judge_again(group, check_time(monday(0)) + timedelta(hours=2)) == 1
        with as_factory():
            assert Digest.objects.get().subject == "Nowhere: nothing counted, week of April 6"
