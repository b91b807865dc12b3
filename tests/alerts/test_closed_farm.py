"""What was open already when a farm closed to visits: what asks for a visit waits, and is told again afterwards."""

from datetime import timedelta

import pytest

from alerts.checks.escalation import escalate_unseen
from alerts.delivery import sentences
from alerts.delivery.digest import letter_of
from alerts.delivery.matter_sentences import matters_paragraph
from alerts.selectors import MondayRow, monday_rows
from alerts.selectors.farm_weeks import FarmWeek, weeks_of_farms
from farms.models import Farm, Group, Region, User
from farms.services import close_farm, close_region, open_farm
from monitoring.models import Station
from tests.alerts.scene import alerts, check, check_time, count_week, events, monday
from tests.cast import acting, as_role

pytestmark = pytest.mark.django_db
LEVEL = [30, 31, 29, 30, 30]
OPENED = check_time(monday(2))
NEXT = check_time(monday(3))


@pytest.fixture
def overdue(group: Group, northfield: Farm, cards: list[Station]) -> Farm:
    """Counted once, then no more: overdue since the check of the week 2."""
    count_week(cards, monday(0), LEVEL)
    for number in (0, 1, 2):
        check(group, monday(number))
    assert [alert.opened_week for alert in alerts(northfield, rule="overdue")] == [monday(2)]
    return northfield


def close(farm: Farm, user: User) -> None:
    with acting(user):
        close_farm(farm=farm, from_on=(OPENED + timedelta(days=1)).date(), by=user, now=OPENED)


def told(farm: Farm, number: int) -> FarmWeek:
    with as_role("worker"):
        return weeks_of_farms([farm], monday(number), monday(number + 1))[0]


def row(user: User, number: int) -> MondayRow:
    with acting(user):
        return monday_rows(user, monday(number))[0]


def escalate(group: Group, days: float) -> int:
    with as_role("worker"):
        return escalate_unseen(group, OPENED + timedelta(days=days))


def test_an_overdue_round_heads_neither_mail_nor_list(overdue: Farm, group: Group, anna: User, dana: User):
    check(group, monday(3))
    before = told(overdue, 3)
    assert before.is_overdue and before.needs_a_look and "no round for 21 days" in sentences.subject(before)
    assert row(dana, 3).verdict == "ask"
    close(overdue, anna)
    week = told(overdue, 3)
    assert not week.is_overdue and not week.needs_a_look and sentences.pressing(week) == 1
    assert "No round" not in letter_of(week).as_text() and "no round" not in sentences.subject(week)
    line = row(dana, 3)
    assert (line.verdict, line.reasons) == ("fine", ("nothing counted", "call, don't visit"))


def test_a_closed_region_makes_it_wait_too(overdue: Farm, region: Region, erik: User, dana: User):
    assert row(dana, 2).verdict == "ask"
    with acting(erik):
        close_region(region=region, from_on=monday(3), by=erik, now=OPENED)
    assert row(dana, 2).verdict == "fine"
    assert not told(overdue, 2).is_overdue


def test_it_goes_to_the_adviser_once_the_farm_is_open_again(overdue: Farm, group: Group, anna: User):
    close(overdue, anna)
    check(group, monday(3))
    assert escalate(group, 8) == 0
    # What the check found is noted as ever: a gap in what keys and feeds read would tell of the closure.
    assert events(alerts(overdue, rule="overdue")[0]) == [("opened", monday(2)), ("stayed", monday(3))]
    with acting(anna):
        open_farm(farm=overdue, from_on=(OPENED + timedelta(days=9)).date(), by=anna, now=NEXT)
    assert escalate(group, 8) == 0
    assert escalate(group, 9) == 1
    assert told(overdue, 4).is_overdue


def test_what_nobody_looked_at_before_it_closed_asks_for_nothing(overdue: Farm, group: Group, anna: User, dana: User):
    assert escalate(group, 7) == 1
    assert "nobody there has looked for a week" in row(dana, 3).reasons
    close(overdue, anna)
    assert "nobody there has looked for a week" not in row(dana, 3).reasons


def test_few_animals_and_how_they_hang_wait_and_what_is_counted_does_not(
    group: Group, northfield: Farm, leg_station: Station, cards: list[Station], anna: User
):
    count_week([leg_station], monday(2), [[2] * 9])
    count_week(cards, monday(2), [150] * 5)
    check(group, monday(2))
    assert {alert.rule for alert in alerts(northfield)} == {"few_animals", "siting", "over"}
    close(northfield, anna)
    with as_role("worker"):
        week = weeks_of_farms([northfield], monday(2), monday(3) + timedelta(days=1))[0]
    assert week.over and {alert.rule for alert in week.asking} == {"over"}
    assert matters_paragraph(week) is None
    assert escalate(group, 8) == 1
