"""The rules that are a yes or no, over weeks of a real group: what opens, with which evidence, and what ends it."""

from datetime import timedelta
from typing import Any

import numpy as np
import pytest

from alerts.checks.group_week import judge_late_readings
from alerts.models import AlertEvent, GroupRule
from farms.models import Facility, Farm, Group, Region, Season, User
from farms.services.closure import close_farm, open_farm
from monitoring.models import Siting, Station
from tests.alerts.large_group import count_weeks, make_group_of, make_places
from tests.alerts.scene import alerts, check, check_time, correct, count_week, events, monday
from tests.cast import acting, as_factory, as_role, make_facility, make_stations

pytestmark = pytest.mark.django_db
LEVEL = [30, 31, 29, 30, 30]


def season(group: Group, stations: list[Station], weeks: list) -> None:
    for number, counts in enumerate(weeks):
        if counts is not None:
            count_week(stations, monday(number), counts)
        check(group, monday(number))


def evidence(alert: Any, kind: str = "opened") -> dict:
    with as_factory():
        return AlertEvent.objects.filter(alert_id=alert.id, kind=kind).latest("at").evidence


def set_rule(group: Group, user: User, rule: str, *, is_on: bool = True, **numbers: float) -> None:
    with as_factory():
        GroupRule.objects.create(
            group=group, rule=rule, is_on=is_on, numbers=numbers, valid_from=monday(0), reason="invented", set_by=user,
            set_at=check_time(monday(0)) - timedelta(days=7),
        )  # fmt: skip


class TestOneFarAboveTheRest:
    HOT = [10, 11, 9, 10, 200]
    EVEN = [10, 11, 9, 10, 12]

    def test_opens_in_its_second_week_and_names_the_card(self, group: Group, northfield: Farm, cards: list[Station]):
        season(group, cards, [self.HOT, self.HOT])
        (alert,) = alerts(northfield, rule="hot_station")
        assert (alert.opened_week, alert.method, alert.facility_id) == (monday(1), "card", None)
        told = evidence(alert)
        assert (told["number"], told["rate"], told["others"], told["weeks_at_top"]) == (5, 200, 10, 2)
        assert told["station"] == str(cards[4].id)

    def test_ends_after_two_weeks_among_the_others(self, group: Group, northfield: Farm, cards: list[Station]):
        season(group, cards, [self.HOT, self.HOT, self.EVEN, self.EVEN])
        (alert,) = alerts(northfield, rule="hot_station")
        assert (alert.closed_week, alert.closed_because) == (monday(3), "no_longer_apart")

    def test_a_week_without_a_count_shows_nothing(self, group: Group, northfield: Farm, cards: list[Station]):
        season(group, cards, [self.HOT, self.HOT, self.EVEN, None, ["lost"] * 5, self.EVEN])
        (alert,) = alerts(northfield, rule="hot_station")
        assert alert.closed_week == monday(5)

    def test_a_slip_of_the_pen_that_is_corrected_ends_it(self, group: Group, northfield: Farm, cards: list[Station]):
        season(group, cards, [self.HOT])
        slip = count_week(cards, monday(1), self.HOT)[4]
        check(group, monday(1))
        correct(slip, 12, received=check_time(monday(1)) + timedelta(hours=1))
        with as_role("worker"):
            judge_late_readings(group, check_time(monday(1)) + timedelta(hours=30))
        (alert,) = alerts(northfield, rule="hot_station")
        assert (alert.closed_week, alert.closed_because) == (monday(1), "corrected")


def test_a_jump_against_the_farms_own_past(group: Group, northfield: Farm, cards: list[Station]):
    past = [[base + step for base in LEVEL] for step in (0, 4, -3, 2, -4, 3, 0)]
    season(group, cards, [*past, [160] * 5, LEVEL, LEVEL])
    (alert,) = alerts(northfield, rule="jump")
    assert alert.opened_week == monday(7)
    told = evidence(alert)
    assert told["mean"] == 160
    assert 25 < told["expected"] < 36
    assert (alert.closed_week, alert.closed_because) == (monday(9), "like_its_past")


def test_without_six_weeks_before_it_nothing_is_a_jump(group: Group, northfield: Farm, cards: list[Station]):
    season(group, cards, [LEVEL, LEVEL, LEVEL, [160] * 5])
    assert alerts(northfield, rule="jump") == []


def test_likely_over_soon_ends_when_it_is_over(group: Group, northfield: Farm, cards: list[Station]):
    rise = [[round(base * 1.3**week) for base in (20, 22, 18, 20, 20)] for week in range(9)]
    season(group, cards, rise)
    (alert,) = alerts(northfield, rule="soon")
    (over,) = alerts(northfield, rule="over")
    assert alert.opened_week < over.opened_week
    assert (alert.closed_week, alert.closed_because) == (over.opened_week, "over_now")
    assert 1 <= evidence(alert)["weeks"] <= 2


class TestMissingTwice:
    def test_names_the_cards_and_their_reasons(self, group: Group, northfield: Farm, cards: list[Station]):
        season(group, cards, [LEVEL, ["lost", 30, 30, 30, 30], ["wet", "lost", 30, 30, 30]])
        (alert,) = alerts(northfield, rule="missing_twice")
        assert alert.opened_week == monday(2)
        assert [place["number"] for place in evidence(alert)["stations"]] == [1]

    def test_ends_with_the_next_count(self, group: Group, northfield: Farm, cards: list[Station]):
        lost = ["lost", 30, 30, 30, 30]
        season(group, cards, [lost, lost, None, LEVEL])
        (alert,) = alerts(northfield, rule="missing_twice")
        assert (alert.closed_week, alert.closed_because) == (monday(3), "counted_again")


class TestSiting:
    def test_few_traps_within_reach_are_told_once_and_end_when_put_right(
        self, group: Group, northfield: Farm, free_stall_barn: Facility, traps: list[Station]
    ):
        check(group, monday(0))
        check(group, monday(1))
        (alert,) = alerts(northfield, rule="siting")
        told = evidence(alert)
        assert told["few"] == [{"facility": str(free_stall_barn.id), "devices": 2}]
        assert [place["number"] for place in told["reach"]] == [1, 2]
        assert events(alert) == [("opened", monday(0))], "a state is told once, not every week"
        more = make_stations(free_stall_barn, "trap", range(3, 6))
        with as_factory():
            Siting.objects.filter(station_id__in=[each.id for each in [*traps, *more]]).update(out_of_reach=True)
        check(group, monday(2))
        (alert,) = alerts(northfield, rule="siting")
        assert (alert.closed_week, alert.closed_because) == (monday(2), "put_right")

    def test_what_hangs_in_wind(self, group: Group, northfield: Farm, cards: list[Station]):
        with as_factory():
            Siting.objects.filter(station_id=cards[2].id).update(windy=True)
        check(group, monday(0))
        (alert,) = [each for each in alerts(northfield, rule="siting") if each.method == "card"]
        assert [place["number"] for place in evidence(alert)["wind"]] == [3]
        assert evidence(alert)["few"] == []

    def test_a_dry_lot_is_no_housing_unit(self, group: Group, northfield: Farm):
        with as_factory():
            Facility.objects.filter(farm=northfield).update(kind="dry_lot")
            Siting.objects.filter(farm=northfield).update(out_of_reach=True)
        check(group, monday(0))
        assert alerts(northfield, rule="siting") == []


def test_legs_of_nine_animals_are_few_until_ten_are_looked_at(group: Group, northfield: Farm, leg_station: Station):
    season(group, [leg_station], [[[2] * 9], None, [[2] * 10]])
    (alert,) = alerts(northfield, rule="few_animals")
    assert evidence(alert)["animals"] == 9
    assert (alert.opened_week, alert.closed_week) == (monday(0), monday(2))
    assert alert.closed_because == "enough_animals"


class TestARuleOfTheGroup:
    def test_that_is_off_opens_nothing_and_ends_what_is_open(
        self, group: Group, northfield: Farm, cards: list[Station], anna: User
    ):
        season(group, cards, [[150] * 5])
        with as_factory():
            GroupRule.objects.create(
                group=group, rule="over", is_on=False, numbers={}, valid_from=monday(1), reason="invented", set_by=anna,
                set_at=check_time(monday(0)),
            )  # fmt: skip
        count_week(cards, monday(1), [150] * 5)
        check(group, monday(1))
        (alert,) = alerts(northfield, rule="over")
        assert (alert.closed_week, alert.closed_because) == (monday(1), "switched_off")

    def test_works_with_the_groups_own_numbers(self, group: Group, northfield: Farm, leg_station: Station, anna: User):
        set_rule(group, anna, "few_animals", animals=8)
        season(group, [leg_station], [[[2] * 9]])
        assert alerts(northfield, rule="few_animals") == []

    def test_days_without_a_round(self, group: Group, northfield: Farm, cards: list[Station], anna: User):
        set_rule(group, anna, "overdue", days=21)
        season(group, cards, [LEVEL, None, None, None])
        assert [alert.opened_week for alert in alerts(northfield, rule="overdue")] == [monday(3)]

    def test_more_days_end_an_overdue_round_though_nobody_counted_and_say_so(
        self, group: Group, northfield: Farm, cards: list[Station], anna: User
    ):
        season(group, cards, [LEVEL, None, None])
        set_rule(group, anna, "overdue", days=30)
        check(group, monday(3))
        (alert,) = alerts(northfield, rule="overdue")
        assert (alert.closed_week, alert.closed_because) == (monday(3), "switched_off")

    def test_a_round_ends_it_as_counted_also_where_the_group_gives_more_days_meanwhile(
        self, group: Group, northfield: Farm, cards: list[Station], anna: User
    ):
        season(group, cards, [LEVEL, None, None])
        set_rule(group, anna, "overdue", days=30)
        count_week(cards, monday(3), LEVEL)
        check(group, monday(3))
        (alert,) = alerts(northfield, rule="overdue")
        assert (alert.closed_week, alert.closed_because) == (monday(3), "counted_again")

    def test_closes_at_the_groups_own_part_of_the_level(
        self, group: Group, northfield: Farm, cards: list[Station], anna: User
    ):
        set_rule(group, anna, "over", closes_below=0.5)
        season(group, cards, [[150] * 5, [70] * 5, [70] * 5, [45] * 5, [45] * 5])
        assert [alert.closed_week for alert in alerts(northfield, rule="over")] == [monday(4)]


class TestRisesAcrossTheGroup:
    """Fourteen farms, two of which rise: a farm that rises a little by chance opens nothing."""

    @pytest.fixture
    def farms(self, region: Region) -> list[Farm]:
        farms = make_group_of(region, 14)
        places = make_places(farms, "card", 5)
        rise = np.array([1.0, 1, 1, 1, 1, 2, 4, 8])
        mean = 12 * np.array([rise if farm < 2 else np.ones(8) for farm in range(14)])
        counts = np.random.default_rng(5).poisson(mean[:, None, :] * np.ones(5)[None, :, None])
        count_weeks(places, [monday(number) for number in range(1, 9)], counts.astype(float))
        return farms

    def test_the_bar_is_fixed_once_a_week_and_only_rises_under_it_open(self, group: Group, farms: list[Farm]):
        run = check(group, monday(8))
        assert 0 < run.rise_bars["card"] <= 0.05
        assert [bool(alerts(farm, rule="rising")) for farm in farms] == [True, True] + [False] * 12

    def test_a_run_that_goes_on_keeps_its_bar_and_opens_nothing_twice(self, group: Group, farms: list[Farm]):
        run = check(group, monday(8))
        with as_factory():
            type(run).objects.filter(id=run.id).update(state="due", rise_bars={"card": 1e-9})
        check(group, monday(8))
        assert [len(alerts(farm, rule="rising")) for farm in farms] == [1, 1] + [0] * 12

    def test_a_facility_of_its_own_makes_no_difference(self, group: Group, farms: list[Farm]):
        make_facility(farms[0], "Hutches", "calf_hutches")
        check(group, monday(8))
        assert len(alerts(farms[0], rule="rising")) == 1

    def test_a_season_that_closed_before_the_check_opens_none(self, group: Group, farms: list[Farm]):
        with as_factory():
            Season.objects.filter(farm=farms[0]).update(closes_on=monday(8) + timedelta(days=5))
        check(group, monday(8))
        assert [bool(alerts(farm, still_open=True)) for farm in farms[:2]] == [False, True]


class TestNoVisitors:
    """A farm that is closed to visits: what would ask for one waits, and whoever counts goes on."""

    @pytest.fixture(autouse=True)
    def closed(self, northfield: Farm, anna: User) -> None:
        with acting(anna):
            close_farm(farm=northfield, from_on=monday(0), by=anna, now=check_time(monday(0)) - timedelta(days=7))

    def test_overdue_few_animals_and_how_they_hang_wait(
        self, group: Group, northfield: Farm, leg_station: Station, anna: User
    ):
        season(group, [leg_station], [[[2] * 9], None, None])
        assert alerts(northfield) == []
        with acting(anna):
            open_farm(farm=northfield, from_on=monday(3), by=anna, now=check_time(monday(1)))
        check(group, monday(3))
        assert {alert.rule for alert in alerts(northfield)} == {"overdue", "siting"}

    def test_what_is_counted_is_judged(self, group: Group, northfield: Farm, cards: list[Station]):
        season(group, cards, [[150] * 5])
        assert [alert.rule for alert in alerts(northfield)] == ["over"]
