"""The mail between two Mondays about the week judged last: what came in after the weekly mail about it was written."""

from datetime import datetime, timedelta

import pytest

from alerts.models import Digest
from alerts.monday import check_group, judge_again
from alerts.services import set_mail_day
from farms.models import Facility, Farm, Group, Region, User
from monitoring.models import Station
from tests.alerts.between_mondays import (
    FRIDAY,
    HIGH,
    JUDGED,
    SHARP_LEGS,
    WEEK,
    barn_of,
    look,
    noon,
    queries_of_a_look,
    walk,
    written,
)
from tests.alerts.scene import check, check_time, count_week, monday, result
from tests.cast import NOW, acting, as_factory, as_role, make_farm

pytestmark = pytest.mark.django_db(databases=["default", "cohort", "owner"])


class TestOfTheJudgedWeek:
    """Cards that hung seven days and are read from Monday to Thursday count for the week that is judged already."""

    def test_a_round_after_the_weekly_mail_makes_one(self, group: Group, cards: list[Station], anna: User):
        assert "not counted this week" in monday_mail(group).text
        count_week(cards, JUDGED, HIGH, received=noon(WEEK, 14))
        (mail,) = tick(group, noon(WEEK, 15))
        assert (mail.recipient, mail.occasion, mail.needs_a_look) == (anna, "2026-W23-midweek", True)
        assert mail.subject == "Northfield: cards far over your action level in the calf barn, round of June 1"

    def test_it_says_for_which_week_it_counts(self, group: Group, cards: list[Station]):
        count_week(cards, monday(6), [55] * 5)
        check(group, monday(6))
        monday_mail(group)
        count_week(cards, JUDGED, HIGH, received=noon(WEEK, 14))
        text = " ".join(tick(group, noon(WEEK, 15))[0].text.split())
        for sentence in (
            "Cards in the calf barn: 210 specks a card (195 to 227).",
            "In the week of May 18 it was 55 specks a card (",
            "This round counts for the week of May 25, whose mail was written before it came.",
            "This mail did not wait for Monday, since it rose so sharply. The week has been judged again with it.",
        ):
            assert sentence in text, sentence
        assert "On Monday the week is judged" not in text

    def test_the_page_and_the_mail_say_the_same(
        self, group: Group, northfield: Farm, calf_barn: Facility, cards: list[Station]
    ):
        """Two rounds of the week: what the check saw and what came late are pooled."""
        count_week(cards[:2], JUDGED, [60, 80])
        monday_mail(group)
        walk(cards[2:], WEEK + timedelta(days=1), [290, 310, 300])
        (mail,) = tick(group, noon(WEEK + timedelta(days=1), 18))
        judged = result(northfield, JUDGED, "card", calf_barn)
        assert (judged.mean, judged.low is not None and judged.low > 100) == (208, True)
        assert mail.subject.endswith("round of June 2") and "208 specks a card" in mail.text

    def test_looking_again_and_a_sharp_round_of_the_running_week_make_no_second(
        self, group: Group, cards: list[Station], leg_station: Station
    ):
        monday_mail(group)
        count_week(cards, JUDGED, HIGH, received=noon(WEEK, 14))
        tick(group, noon(WEEK, 15))
        walk([leg_station], FRIDAY, [SHARP_LEGS])
        assert len(tick(group, noon(FRIDAY, 18))) == 1

    def test_one_walk_with_cards_of_that_week_and_legs_of_this_is_one_mail_of_both(
        self, group: Group, cards: list[Station], leg_station: Station
    ):
        monday_mail(group)
        count_week(cards, JUDGED, HIGH, received=noon(WEEK, 14))
        walk([leg_station], WEEK, [SHARP_LEGS], received=noon(WEEK, 14))
        (mail,) = tick(group, noon(WEEK, 15))
        assert mail.subject.endswith("over your action level in the dry lot and the calf barn, round of June 1")
        text = " ".join(mail.text.split())
        assert text.count("This round counts for the week of May 25") == 1 and "On Monday the week is judged" in text

    def test_none_where_the_weekly_mail_is_still_to_come(
        self, group: Group, northfield: Farm, cards: list[Station], anna: User
    ):
        with acting(anna):
            set_mail_day(farm=northfield, weekday=5, by=anna, now=NOW)
        with as_role("worker"):
            check_group(group, check_time(JUDGED))
        count_week(cards, JUDGED, HIGH, received=noon(WEEK, 14))
        assert tick(group, noon(WEEK, 15)) == []
        assert tick(group, noon(FRIDAY, 18)) == []
        with as_factory():
            assert "210 specks a card" in Digest.objects.get(farm=northfield).text

    @pytest.mark.parametrize("counts", [[149] * 5, [20, 30, 900, 40, 60], [60] * 5])
    def test_none_within_the_margin_nor_where_the_range_reaches_the_level(
        self, group: Group, cards: list[Station], counts: list[int]
    ):
        monday_mail(group)
        count_week(cards, JUDGED, counts, received=noon(WEEK, 14))
        assert tick(group, noon(WEEK, 15)) == []

    def test_none_where_the_matter_was_open_before(self, group: Group, cards: list[Station]):
        count_week(cards, monday(6), [120] * 5)
        check(group, monday(6))
        monday_mail(group)
        count_week(cards, JUDGED, HIGH, received=noon(WEEK, 14))
        assert tick(group, noon(WEEK, 15)) == []

    def test_one_sent_late_that_was_walked_more_than_three_days_before_waits_for_monday(
        self, group: Group, cards: list[Station]
    ):
        monday_mail(group)
        count_week(cards, JUDGED, HIGH, received=noon(FRIDAY))
        assert tick(group, noon(FRIDAY, 18)) == []


def monday_mail(group: Group) -> Digest:
    """The weekly mail about the judged week, as Monday's run writes it."""
    with as_role("worker"):
        check_group(group, check_time(JUDGED))
    with as_factory():
        return Digest.objects.get(occasion="2026-W22")


def tick(group: Group, now: datetime) -> list[Digest]:
    """What a worker does every five minutes: what came late is judged, then the look between Mondays."""
    with as_role("worker"):
        judge_again(group, now)
    return look(group, now)


def test_a_look_at_that_week_takes_no_query_a_farm(group: Group, region: Region, cards: list[Station], anna: User):
    asked = []
    for number in range(2):
        barns = [barn_of(make_farm(f"Hill {number} {each}", region, anna)) for each in range(1 + 3 * number)]
        week = monday(7 + number)
        with as_role("worker"):
            check_group(group, check_time(week))
        for barn in barns:
            count_week(barn, week, HIGH, received=noon(week + timedelta(days=7), 14))
        with as_role("worker"):
            judge_again(group, noon(week + timedelta(days=7), 15))
        asked.append(queries_of_a_look(group, noon(week + timedelta(days=7), 15)))
    assert len(written()) == 5 and asked[0] == asked[1]
