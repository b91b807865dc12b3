"""What mail and Monday list say of open matters: told once when they open, and what somebody did about them."""

from datetime import timedelta
from typing import Any

import pytest

from alerts import services
from alerts.checks.escalation import escalate_unseen
from alerts.delivery.digest import letter_of
from alerts.delivery.matter_sentences import matters_paragraph
from alerts.selectors.farm_weeks import FarmWeek, weeks_of_farms
from alerts.selectors.monday import Verdict, row_of
from farms.ledger import Actor
from farms.models import Farm, Group, User
from monitoring.models import Station
from tests.alerts.scene import alerts, check, check_time, count_week, monday
from tests.cast import acting, as_role

pytestmark = pytest.mark.django_db


def told(farm: Farm, number: int) -> FarmWeek:
    with as_role("worker"):
        return weeks_of_farms([farm], monday(number), monday(number + 1))[0]


def said(week: FarmWeek) -> str:
    paragraph = matters_paragraph(week)
    return " ".join(sentence.text for sentence in paragraph.sentences) if paragraph else ""


def test_how_traps_hang_is_told_once_with_the_labels_caution(group: Group, northfield: Farm, traps: list[Station]):
    check(group, monday(0))
    assert said(told(northfield, 0)) == (
        "Traps: Only 2 traps hang there (Free-stall barn): five or more say more. Nobody has confirmed yet that "
        "Traps 1 and 2 hang out of reach of animals and children. Their bait may be an insecticide: the label and "
        "local rules decide where they may hang."
    )
    check(group, monday(1))
    assert said(told(northfield, 1)) == ""


def test_a_card_far_above_the_rest_is_named(group: Group, northfield: Farm, cards: list[Station]):
    for number in (0, 1):
        count_week(cards, monday(number), [10, 11, 9, 10, 200])
        check(group, monday(number))
    sentence = "Cards: Card 5: 200, the others 10 on average, for 2 weeks running. Worth a look there first."
    assert sentence in said(told(northfield, 1))
    assert sentence in letter_of(told(northfield, 1)).as_text().replace("\n", " ")


def test_what_is_open_and_not_counted_says_since_when(group: Group, northfield: Farm, cards: list[Station]):
    count_week(cards, monday(0), [150] * 5)
    check(group, monday(0))
    check(group, monday(1))
    assert "Cards, the calf barn: still open, not counted since the week of April 6." in said(told(northfield, 1))


class TestTheMondayList:
    @pytest.fixture
    def over(self, group: Group, northfield: Farm, cards: list[Station]) -> Any:
        count_week(cards, monday(0), [150] * 5)
        check(group, monday(0))
        return alerts(northfield, rule="over")[0]

    def count_again(self, group: Group, cards: list[Station]) -> None:
        count_week(cards, monday(1), [150] * 5)
        check(group, monday(1))

    def test_what_nobody_looked_at_for_a_week_is_said(
        self, group: Group, northfield: Farm, cards: list[Station], over: Any, anna: User
    ):
        self.count_again(group, cards)
        with as_role("worker"):
            escalate_unseen(group, check_time(monday(1)))
        assert "nobody there has looked for a week" in row_of(told(northfield, 1)).reasons
        with acting(anna):
            services.mark_seen(alert=over, actor=Actor("farm_staff", anna.id), now=check_time(monday(1)))
        assert "nobody there has looked for a week" not in row_of(told(northfield, 1)).reasons

    def test_what_is_put_off_is_asked_and_not_called_until_its_day(
        self, group: Group, northfield: Farm, cards: list[Station], over: Any, anna: User
    ):
        assert row_of(told(northfield, 0)).verdict == Verdict.CALL
        with acting(anna):
            until = monday(2) + timedelta(days=2)
            services.snooze(alert=over, until=until, actor=Actor("farm_staff", anna.id), now=check_time(monday(0)))
        self.count_again(group, cards)
        row = row_of(told(northfield, 1))
        assert row.verdict == Verdict.ASK
        assert "cards over, put off to April 22" in row.reasons
        count_week(cards, monday(2), [150] * 5)
        check(group, monday(2))
        assert row_of(told(northfield, 2)).verdict == Verdict.CALL
