"""Alerts over many weeks: they open, stay while it stays, and close when it is over; the chain holds every change."""

from collections import defaultdict
from datetime import timedelta
from hashlib import sha256

import pytest
from django.db import ProgrammingError

from alerts import services
from alerts.models import AlertEvent
from alerts.selectors import alert_history, open_alerts
from alerts.services.alert import event_hash
from farms.ledger import Actor, verify_links
from farms.models import Facility, Farm, Group, LedgerEntry, Season, User
from monitoring.models import Round, Skip, Station
from tests.alerts.scene import alerts, check, check_time, count_week, events, monday
from tests.cast import acting, as_factory, as_role

pytestmark = pytest.mark.django_db
HIGH, MIDDLE, LOW = [150] * 5, [90] * 5, [50] * 5


def season(group: Group, stations: list[Station], weeks: list) -> None:
    """Count and check week after week; None: nobody counted."""
    for number, counts in enumerate(weeks):
        if counts is not None:
            count_week(stations, monday(number), counts)
        check(group, monday(number))


def over(farm: Farm) -> list:
    return alerts(farm, rule="over")


def test_an_alert_opens_in_the_week_that_is_over(
    group: Group, northfield: Farm, calf_barn: Facility, cards: list[Station]
):
    season(group, cards, [LOW, HIGH])
    (of_barn,) = over(northfield)
    assert (of_barn.opened_week, of_barn.facility_id) == (monday(1), calf_barn.id)
    with as_factory():
        evidence = AlertEvent.objects.get(alert_id=of_barn.id).evidence
    assert (evidence["mean"], evidence["level"], evidence["facility"]) == (150.0, 100.0, str(calf_barn.id))


def test_the_chain_holds_every_event_as_its_row_has_it(group: Group, northfield: Farm, cards: list[Station]):
    season(group, cards, [LOW, HIGH, [150, 149, "lost", 151, 150], LOW, LOW])
    with as_factory():
        entries = {entry.number: entry for entry in LedgerEntry.objects.filter(farm=northfield, kind="alerts")}
        hashes = defaultdict(list)
        for event in AlertEvent.objects.filter(farm=northfield):
            hashes[event.entry].append(event_hash(event))
    assert set(hashes) == set(entries)
    # The calf barn opens, stays and closes; that two traps are few and may be in reach is told once.
    assert sum(map(len, hashes.values())) == 5
    for number, each in hashes.items():
        assert bytes(entries[number].rows_hash) == sha256(b"".join(sorted(each))).digest()


def test_it_stays_one_alert_while_it_stays_and_closes_after_two_low_weeks(
    group: Group, northfield: Farm, cards: list[Station]
):
    season(group, cards, [HIGH, HIGH, MIDDLE, LOW, LOW, LOW])
    (alert,) = over(northfield)
    assert (alert.closed_week, alert.closed_because) == (monday(4), "back_below")
    assert events(alert) == [
        ("opened", monday(0)),
        ("stayed", monday(1)),
        ("stayed", monday(2)),
        ("stayed", monday(3)),
        ("closed", monday(4)),
    ]


def test_a_week_without_a_count_neither_closes_nor_breaks_the_run(group: Group, northfield: Farm, cards: list[Station]):
    season(group, cards, [HIGH, LOW, None, ["lost"] * 5, LOW])
    (alert,) = over(northfield)
    assert alert.closed_week == monday(4)


def test_a_wavering_farm_keeps_its_alert(group: Group, northfield: Farm, cards: list[Station]):
    season(group, cards, [HIGH, LOW, MIDDLE, LOW, MIDDLE, HIGH])
    (alert,) = over(northfield)
    assert alert.closed_at is None


def test_what_comes_back_within_three_weeks_is_the_same_episode(group: Group, northfield: Farm, cards: list[Station]):
    season(group, cards, [HIGH, LOW, LOW, LOW, LOW, HIGH, LOW, LOW])
    (alert,) = over(northfield)
    assert (alert.episode, alert.reopened_week, alert.closed_week) == (1, monday(5), monday(7))
    assert events(alert)[2:] == [
        ("closed", monday(2)),
        ("reopened", monday(5)),
        ("stayed", monday(6)),
        ("closed", monday(7)),
    ]


def test_after_four_weeks_it_is_the_next_episode(group: Group, northfield: Farm, cards: list[Station]):
    season(group, cards, [HIGH, LOW, LOW, LOW, LOW, LOW, HIGH])
    first, second = over(northfield)
    assert [(first.episode, first.closed_week), (second.episode, second.closed_at)] == [(1, monday(2)), (2, None)]


def test_low_weeks_before_it_came_back_do_not_end_it(group: Group, northfield: Farm, cards: list[Station]):
    season(group, cards, [HIGH, LOW, LOW, HIGH, LOW])
    (alert,) = over(northfield)
    assert (alert.reopened_week, alert.closed_at) == (monday(3), None)


def test_each_week_is_measured_against_the_level_that_applied_then(
    group: Group, northfield: Farm, calf_barn: Facility, cards: list[Station], anna: User
):
    season(group, cards, [HIGH])
    with acting(anna):
        level = services.NewLevel("card", 300, "calves are elsewhere", monday(1), calf_barn)
        services.set_farm_level(farm=northfield, level=level, by=anna, now=check_time(monday(0)))
    for number in (1, 2):
        count_week(cards, monday(number), HIGH)
        check(group, monday(number))
    # 150 of 300 in the barn, twice.
    assert over(northfield)[0].closed_week == monday(2)


def test_rising_opens_with_the_trend_and_closes_after_two_weeks_no_longer_rising(
    group: Group, northfield: Farm, cards: list[Station]
):
    rise = [[base * 2**week for base in (1, 2, 1, 2, 1)] for week in range(5)]
    plateau = [[16, 32, 16, 32, 16]] * 9
    season(group, cards, rise + plateau)
    (alert,) = alerts(northfield, rule="rising")
    assert (alert.opened_week, alert.method, alert.facility_id) == (monday(4), "card", None)
    assert alert.closed_because == "no_longer_rising"
    assert alert.closed_week > monday(6)


class TestOverdue:
    def test_a_farm_that_stops_counting_is_called_overdue_and_counted_again_closes_it(
        self, group: Group, northfield: Farm, cards: list[Station]
    ):
        season(group, cards, [LOW, LOW, None, None])
        (alert,) = alerts(northfield, rule="overdue")
        # The last round was on the Monday after week 1; a week later it is due, not overdue; two weeks later it is.
        assert (alert.opened_week, alert.method) == (monday(3), "")
        count_week(cards, monday(4), LOW)
        check(group, monday(4))
        (alert,) = alerts(northfield, rule="overdue")
        assert (alert.closed_week, alert.closed_because) == (monday(4), "counted_again")

    def test_the_first_visit_that_only_hangs_does_not_trigger_it(self, group: Group, northfield: Farm):
        with as_factory():
            Round.objects.create(
                farm=northfield, walked_on=monday(1), source="form", actor_kind="farm_staff",
                received_at=check_time(monday(0)), entry=0,
            )  # fmt: skip
        check(group, monday(0))
        check(group, monday(1))
        assert alerts(northfield, rule="overdue") == []

    def test_a_farm_that_counts_every_seven_days_never_is(self, group: Group, northfield: Farm, cards: list[Station]):
        season(group, cards, [LOW] * 5)
        assert alerts(northfield, rule="overdue") == []

    def test_a_skipped_round_is_not_overdue_before_its_day(self, group: Group, northfield: Farm, cards: list[Station]):
        season(group, cards, [LOW])
        with as_factory():
            Skip.objects.create(
                farm=northfield, skipped_on=monday(1), next_round_on=monday(4), made_at=check_time(monday(0)),
                actor_kind="farm_staff",
            )  # fmt: skip
        for number in (1, 2, 3):
            check(group, monday(number))
        assert alerts(northfield, rule="overdue") == []
        check(group, monday(4))
        assert [alert.opened_week for alert in alerts(northfield, rule="overdue")] == [monday(4)]

    def test_a_skip_noted_after_it_opened_closes_it(self, group: Group, northfield: Farm, cards: list[Station]):
        season(group, cards, [LOW, None, None])
        with as_factory():
            Skip.objects.create(
                farm=northfield, skipped_on=monday(3), next_round_on=monday(6), made_at=check_time(monday(2)),
                actor_kind="farm_staff",
            )  # fmt: skip
        check(group, monday(3))
        (alert,) = alerts(northfield, rule="overdue")
        assert alert.closed_because == "skipped_ahead"


def test_when_the_season_closes_everything_closes(group: Group, northfield: Farm, cards: list[Station]):
    season(group, cards, [HIGH])
    with as_factory():
        Season.objects.filter(farm=northfield).update(closes_on=monday(1) + timedelta(days=3))
    count_week(cards, monday(1), HIGH)
    check(group, monday(1))
    assert alerts(northfield, still_open=True) == []
    assert {(alert.closed_because, alert.closed_week) for alert in alerts(northfield)} == {("season_closed", monday(1))}


def test_each_run_is_one_entry_of_the_farms_chain(group: Group, northfield: Farm, cards: list[Station]):
    season(group, cards, [HIGH, HIGH])
    with as_factory():
        entries = LedgerEntry.objects.filter(farm=northfield, kind="alerts").order_by("number")
        # Over the level, and two traps that are few and may be in reach; the second week only stays over.
        assert [(entry.rows, entry.actor_kind) for entry in entries] == [(2, "service"), (1, "service")]
        numbers = set(AlertEvent.objects.filter(farm=northfield).values_list("entry", flat=True))
        assert numbers == {entry.number for entry in entries}
        assert verify_links(northfield.id) == []


def test_who_looked_is_noted_once(group: Group, northfield: Farm, cards: list[Station], anna: User):
    season(group, cards, [HIGH])
    with acting(anna):
        alert = open_alerts(northfield)[0]
        for hour in (1, 2):
            later = check_time(monday(0)) + timedelta(hours=hour)
            services.mark_seen(alert=alert, actor=Actor("farm_staff", anna.id), now=later)
        assert [event.kind for event in alert_history(alert)] == ["opened", "seen"]
        assert verify_links(northfield.id) == []


def test_a_closed_alert_can_not_be_marked_seen(group: Group, northfield: Farm, cards: list[Station], anna: User):
    season(group, cards, [HIGH, LOW, LOW])
    with acting(anna), pytest.raises(services.AlertClosed):
        services.mark_seen(alert=over(northfield)[0], actor=Actor("farm_staff", anna.id), now=check_time(monday(3)))


def test_counts_that_come_more_than_two_weeks_late_open_nothing(group: Group, northfield: Farm, cards: list[Station]):
    count_week(cards, monday(0), HIGH, received=check_time(monday(0)) + timedelta(days=15))
    check(group, monday(0), now=check_time(monday(3)))
    assert over(northfield) == []


def test_carla_sees_none_of_annas_alerts(group: Group, northfield: Farm, cards: list[Station], carla: User):
    season(group, cards, [HIGH])
    with acting(carla):
        assert list(open_alerts(northfield)) == []


def test_the_worker_can_not_change_what_happened(group: Group, northfield: Farm, cards: list[Station]):
    season(group, cards, [HIGH])
    with pytest.raises(ProgrammingError, match="permission denied"), as_role("worker"):
        AlertEvent.objects.update(kind="seen")
