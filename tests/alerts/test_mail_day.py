"""The farm's chosen day: when its mail is written, that nothing is lost, and what came in since the check."""

import re
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from alerts.checks.calendar import received_from
from alerts.delivery import due_digests
from alerts.delivery.due_digests import goes_out_at, queue_due_digests
from alerts.models import Digest
from alerts.monday import check_group, judge_again
from alerts.selectors.corrections import corrections_since, last_mails
from alerts.selectors.farm_weeks import weeks_of_farms
from alerts.selectors.mail_days import mail_days_chosen, mail_days_of_farms
from alerts.selectors.rounds_since import with_rounds_since
from alerts.services import WeekdayUnknown, set_mail_day
from farms.models import Farm, Group, Membership, Region, User
from farms.models.access import FarmRole
from farms.selectors import owners_of_farms
from monitoring.models import Reading, Round, Station, WeeklySummary
from tests.alerts.scene import check, check_time, correct, count_week, monday
from tests.cast import NOW, acting, as_factory, as_role, make_facility, make_farm, make_stations

pytestmark = pytest.mark.django_db
WEEK = monday(12)  # the week of June 29; judged on July 6
MONDAY = check_time(WEEK)
WEDNESDAY = MONDAY + timedelta(days=2)


@pytest.fixture
def counted(group: Group, northfield: Farm, cards: list[Station]) -> Farm:
    count_week(cards, WEEK, [60] * 5)
    return northfield


def choose(farm: Farm, weekday: int, by: User, now: datetime = NOW) -> None:
    with acting(by):
        set_mail_day(farm=farm, weekday=weekday, by=by, now=now)


def due(group: Group, now: datetime) -> int:
    with as_role("worker"):
        return queue_due_digests(group, now=now)


def written(farm: Farm) -> list[Digest]:
    with as_factory():
        return list(Digest.objects.filter(farm=farm).order_by("queued_at"))


class TestWhen:
    def test_on_monday_where_nobody_chose(self, group: Group, counted: Farm):
        check(group, WEEK)
        assert due(group, MONDAY) == 1
        assert due(group, MONDAY + timedelta(days=1)) == 0

    @pytest.mark.parametrize("weekday", range(1, 8))
    def test_from_five_in_the_morning_of_the_chosen_day(self, group: Group, counted: Farm, anna: User, weekday: int):
        choose(counted, weekday, anna)
        check(group, WEEK)
        day = WEEK + timedelta(days=6 + weekday)
        five = datetime(day.year, day.month, day.day, 5, tzinfo=ZoneInfo("America/Chicago"))
        assert day.isoweekday() == weekday
        assert due(group, five - timedelta(seconds=1)) == 0
        assert due(group, five) == 1

    def test_by_the_farms_own_clock_and_not_the_groups(self, group: Group, counted: Farm, cards: list[Station]):
        with as_factory():
            Farm.objects.filter(id=counted.id).update(time_zone="America/Los_Angeles")
        check(group, WEEK)
        # 05:30 in Chicago is half past three there.
        assert due(group, MONDAY) == 0
        assert due(group, MONDAY + timedelta(hours=2)) == 1

    def test_five_is_five_on_the_day_the_clocks_go_back(self, group: Group, counted: Farm, anna: User):
        # November 1, 2026, a Sunday: at 05:00 it is winter time already, 11:00 UTC.
        assert goes_out_at(counted.time_zone, date(2026, 10, 19), 7) == datetime(2026, 11, 1, 11, tzinfo=UTC)

    def test_not_before_the_week_is_judged(self, group: Group, counted: Farm):
        assert due(group, WEDNESDAY) == 0


class TestNothingIsLost:
    def test_mondays_run_writes_those_whose_day_it_is_and_a_tick_the_others(
        self, group: Group, counted: Farm, region: Region, anna: User, carla: User
    ):
        other = make_farm("Windy Lea", region, carla)
        shed = make_facility(other, "Shed", "heifer_barn", 1)
        count_week(make_stations(shed, "card", range(1, 6)), WEEK, [20] * 5)
        choose(counted, 3, anna)
        with as_role("worker"):
            check_group(group, MONDAY)
        assert [len(written(farm)) for farm in (counted, other)] == [0, 1]
        with as_role("worker"):
            judge_again(group, WEDNESDAY)
        assert [row.occasion for row in written(counted)] == ["2026-W27"]

    def test_an_outage_over_the_day_only_makes_it_late(self, group: Group, counted: Farm, anna: User):
        choose(counted, 2, anna)
        check(group, WEEK)
        assert due(group, MONDAY + timedelta(days=5)) == 1

    def test_an_owner_who_has_it_gets_no_second_when_the_day_is_moved(self, group: Group, counted: Farm, anna: User):
        check(group, WEEK)
        assert due(group, MONDAY) == 1
        choose(counted, 5, anna)
        assert due(group, MONDAY + timedelta(days=4)) == 0

    def test_a_second_owner_who_has_none_yet_gets_theirs_alone(self, group: Group, counted: Farm, ben: User):
        check(group, WEEK)
        due(group, MONDAY)
        with as_factory():
            Membership.objects.filter(farm=counted, user=ben).update(role=FarmRole.OWNER)
        assert due(group, WEDNESDAY) == 1
        assert len(written(counted)) == 2

    def test_a_tick_loads_no_farm_whose_mails_are_written(
        self, group: Group, counted: Farm, region: Region, carla: User, monkeypatch: pytest.MonkeyPatch
    ):
        other = make_farm("Windy Lea", region, carla)
        count_week(make_stations(make_facility(other, "Shed", "heifer_barn", 1), "card", range(1, 6)), WEEK, [20] * 5)
        check(group, WEEK)
        assert due(group, MONDAY) == 2
        with as_factory():
            Digest.objects.filter(farm=other).delete()
        loaded: list[Farm] = []
        monkeypatch.setattr(
            due_digests, "mail_days_of_farms", lambda ids: loaded.extend(ids) or mail_days_of_farms(ids)
        )
        assert due(group, WEDNESDAY) == 1
        assert due(group, WEDNESDAY) == 0
        assert loaded == [other.id]

    def test_many_farms_are_one_parameter(self, northfield: Farm, southmead: Farm):
        with as_role("worker"), CaptureQueriesContext(connection) as asked:
            assert len(owners_of_farms([northfield.id, southmead.id])) == 2
        assert " IN (" not in asked[0]["sql"]

    def test_an_older_week_goes_out_no_more(self, group: Group, counted: Farm):
        check(group, WEEK)
        assert due(group, MONDAY + timedelta(days=7)) == 0


class TestSinceTheCheck:
    def tick(self, group: Group) -> None:
        """What a worker does on Friday: what came in is judged to that moment, and the mail is written."""
        with as_role("worker"):
            judge_again(group, MONDAY + timedelta(days=4))

    def test_a_round_received_since_is_one_line_with_the_plain_comparison(
        self, group: Group, counted: Farm, cards: list[Station], anna: User
    ):
        choose(counted, 5, anna)
        check(group, WEEK)
        _early_round(cards, 130)
        self.tick(group)
        (row,) = written(counted)
        text = " ".join(row.text.split())
        assert "Cards: 60 specks a card" in text
        assert (
            "Since the check, round of Thursday, July 9: in the calf barn 303 specks a card, over your action level "
            "of 100." in text
        )

    def test_what_the_check_saw_is_told_once(self, group: Group, counted: Farm, anna: User):
        choose(counted, 5, anna)
        check(group, WEEK)
        self.tick(group)
        assert "Since the check" not in written(counted)[0].text

    def test_nor_what_came_late_for_the_judged_week_itself(
        self, group: Group, counted: Farm, cards: list[Station], anna: User
    ):
        """Newer than the round of the running week, which is told all the same; its own week is judged again."""
        choose(counted, 5, anna)
        check(group, WEEK)
        _early_round(cards, 130)
        count_week(cards, WEEK, [80] * 5, received=datetime(2026, 7, 10, 8, tzinfo=UTC))
        with as_factory():
            Round.objects.filter(received_at=datetime(2026, 7, 10, 8, tzinfo=UTC)).update(walked_on=date(2026, 7, 10))
        self.tick(group)
        text = " ".join(written(counted)[0].text.split())
        assert "Cards: 70 specks a card" in text
        assert "Since the check, round of Thursday, July 9: in the calf barn 303 specks" in text

    def test_it_takes_no_query_a_farm(
        self, group: Group, region: Region, counted: Farm, cards: list[Station], carla: User
    ):
        check(group, WEEK)
        _early_round(cards, 130)
        alone = _queries(group, [counted])
        others = [make_farm(f"Hill {number}", region, carla) for number in range(3)]
        for other in others:
            _early_round(make_stations(make_facility(other, "Shed", "calf_barn"), "card", range(1, 6)), 90)
        assert _queries(group, [counted, *others]) == alone


def _queries(group: Group, farms: list[Farm]) -> int:
    """How many queries it takes to tell these farms' rounds since the check."""
    with as_role("worker"):
        weeks = weeks_of_farms(farms, WEEK, WEDNESDAY.date())
        with CaptureQueriesContext(connection) as asked:
            told = with_rounds_since(weeks, received_from(monday(13), group.time_zone))
    assert all(week.since for week in told) and len(told) == len(farms)
    return len(asked)


def _early_round(cards: list[Station], count: int) -> None:
    """Cards hung on Monday, July 6, and read on the Thursday after, in a round that the check has not seen."""
    hung, read = monday(13), monday(13) + timedelta(days=3)
    came = {"received_at": datetime(2026, 7, 9, 15, tzinfo=UTC), "entry": 0}
    farm_id = cards[0].farm_id
    with as_factory():
        walk = Round.objects.create(farm_id=farm_id, walked_on=read, source="form", actor_kind="farm_staff", **came)
        for card in cards:
            Reading.objects.create(
                farm_id=farm_id, round_id=walk.id, station_id=card.id, method="card", zone="America/Chicago",
                hung_on=hung, taken_on=read, count=count, fraction=1, **came,
            )  # fmt: skip
        WeeklySummary.objects.create(
            farm_id=farm_id, method="card", week=hung, stations=5, devices=5, missing=0, days=15, animals=0,
            at_least=False, last_received_at=came["received_at"],
        )  # fmt: skip


@pytest.mark.django_db(databases=["default", "cohort", "owner"])
class TestCorrectedSince:
    """Measured against what the farm's own last mail said, on whatever day that was written."""

    @pytest.fixture
    def tuesdays(self, group: Group, northfield: Farm, cards: list[Station], anna: User) -> Farm:
        """Northfield walks on Tuesdays and has its mail on Wednesdays, two weeks long."""
        choose(northfield, 3, anna)
        for week, specks in ((WEEK, 60), (monday(13), 70)):
            with as_role("worker"):
                check_group(group, check_time(week))
            count_week(cards, week, [specks] * 5, received=check_time(week) + timedelta(days=1))
            with as_role("worker"):
                judge_again(group, check_time(week) + timedelta(days=1))
                judge_again(group, check_time(week) + timedelta(days=2))
        return northfield

    def test_what_the_last_mail_said_is_not_told_again(self, tuesdays: Farm):
        first, second = (" ".join(row.text.split()) for row in written(tuesdays))
        assert "Cards: 60 specks a card" in first and "Cards: 70 specks a card" in second
        assert not re.search("Corrected|Came in", second)

    def test_what_changed_after_it_is_told_once(self, group: Group, tuesdays: Farm, cards: list[Station]):
        with as_factory():
            slip = Reading.objects.get(farm=tuesdays, station_id=cards[0].id, hung_on=monday(13))
        correct(slip, 95, received=check_time(monday(13)) + timedelta(days=3))
        with as_role("worker"):
            judge_again(group, check_time(monday(13)) + timedelta(days=3))
        texts = []
        for week in (monday(14), monday(15)):
            with as_role("worker"):
                check_group(group, check_time(week))
                judge_again(group, check_time(week) + timedelta(days=2))
            texts.append(" ".join(written(tuesdays)[-1].text.split()))
        assert re.search(r"Corrected since: Cards, week of July 6: 75 specks a card \([^)]*\), not 70 ", texts[0])
        assert "Corrected" not in texts[1]

    def test_it_takes_no_query_a_farm(self, group: Group, region: Region, carla: User):
        farms = [make_farm(f"Hill {number}", region, carla) for number in range(4)]
        barns = [make_stations(make_facility(farm, "Shed", "calf_barn"), "card", range(1, 6)) for farm in farms]
        with as_role("worker"):
            check_group(group, MONDAY)
        for barn in barns:
            count_week(barn, WEEK, [50] * 5, received=MONDAY + timedelta(hours=8))
        asked = []
        with as_role("worker"):
            judge_again(group, MONDAY + timedelta(hours=9))
            for some in (farms[:1], farms):
                with CaptureQueriesContext(connection) as queries:
                    ids = [farm.id for farm in some]
                    found = corrections_since(group.id, ids, monday(13), last_mails(ids, monday(13)))
                asked.append((len(queries), len(found)))
        assert asked == [(4, 1), (4, 4)]


class TestChoosing:
    def test_the_last_choice_holds_and_the_others_stay(self, northfield: Farm, anna: User):
        for weekday in (3, 5):
            choose(northfield, weekday, anna)
        with acting(anna):
            assert mail_days_of_farms([northfield.id]) == {northfield.id: 5}
            assert [(row.weekday, row.set_by_id) for row in mail_days_chosen(northfield)] == [
                (5, anna.id),
                (3, anna.id),
            ]

    @pytest.mark.parametrize("weekday", [0, 8, -1])
    def test_a_day_that_is_none_is_refused(self, northfield: Farm, anna: User, weekday: int):
        with pytest.raises(WeekdayUnknown):
            choose(northfield, weekday, anna)
