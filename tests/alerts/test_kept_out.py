"""A label that keeps people out: a round that nobody may walk is not overdue, in the check, in mails, on the list."""

from datetime import datetime, timedelta

import pytest

from alerts.delivery import sentences
from alerts.selectors import monday_rows, rounds_due
from alerts.selectors.farm_weeks import weeks_of_farms
from farms.models import Farm, Group, User
from monitoring.models import Reading, Reentry, Round, Station
from tests.alerts.scene import alerts, check, check_time, count_week, monday
from tests.cast import acting, as_factory, as_role

pytestmark = pytest.mark.django_db
LEVEL = [30, 31, 29, 30, 30]
DAY = timedelta(days=1)


@pytest.fixture
def counted_once(group: Group, northfield: Farm, cards: list[Station]) -> Farm:
    """The last round was on the Monday after week 0: due on that after week 1, overdue at the check of week 2."""
    count_week(cards, monday(0), LEVEL)
    check(group, monday(0))
    return northfield


def keep_out(farm: Farm, begins: datetime, ends: datetime, facility=None) -> None:
    with as_factory():
        Reentry.objects.create(
            farm=farm, begins_at=begins, until=ends, label_says="invented", actor_kind="farm_staff", entry=0,
            recorded_at=begins, facility_id=facility and facility.id,
        )  # fmt: skip


def opened(farm: Farm) -> list:
    return [alert.opened_week for alert in alerts(farm, rule="overdue")]


def test_a_round_whose_day_a_label_holds_is_overdue_only_after_it(group: Group, counted_once: Farm):
    keep_out(counted_once, check_time(monday(1)), check_time(monday(2)) + 2 * DAY)
    check(group, monday(1))
    check(group, monday(2))
    assert opened(counted_once) == []
    check(group, monday(3))
    assert opened(counted_once) == [monday(3)]


def test_one_barn_of_several_leaves_a_round_to_walk(group: Group, counted_once: Farm, calf_barn):
    keep_out(counted_once, check_time(monday(1)), check_time(monday(2)) + 2 * DAY, calf_barn)
    check(group, monday(1))
    check(group, monday(2))
    assert opened(counted_once) == [monday(2)]


def test_a_round_walked_with_everything_kept_out_is_a_round(group: Group, counted_once: Farm, cards: list[Station]):
    with as_factory():
        walked = Round.objects.create(
            farm=counted_once, walked_on=monday(2), source="form", actor_kind="farm_staff", entry=0,
            received_at=check_time(monday(1)),
        )  # fmt: skip
        Reading.objects.create(
            farm=counted_once, round_id=walked.id, station_id=cards[0].id, method="card", reason="kept_out",
            taken_on=monday(2), zone="America/Chicago", received_at=check_time(monday(1)), entry=0,
        )  # fmt: skip
    check(group, monday(1))
    check(group, monday(2))
    assert opened(counted_once) == []


def test_what_was_overdue_waits_while_a_label_runs_and_then_closes_for_it(
    group: Group, counted_once: Farm, anna: User, dana: User
):
    for number in (1, 2):
        check(group, monday(number))
    assert opened(counted_once) == [monday(2)]
    # Typed after the check, for the day on which its mails leave and a week more.
    keep_out(counted_once, check_time(monday(2)) - DAY, check_time(monday(2)) + 9 * DAY)
    with as_role("worker"):
        told = weeks_of_farms([counted_once], monday(2), monday(3))[0]
    assert not told.is_overdue and not told.needs_a_look and "no round" not in sentences.subject(told)
    due = (check_time(monday(2)) + 9 * DAY).date()
    assert told.due_on == due
    with acting(dana):
        assert "no round" not in " ".join(monday_rows(dana, monday(2))[0].reasons)
    with acting(anna):
        (round_due,) = rounds_due([counted_once], check_time(monday(2)))
    assert round_due.day == due
    check(group, monday(3))
    (alert,) = alerts(counted_once, rule="overdue")
    assert (alert.closed_week, alert.closed_because) == (monday(3), "kept_out")
