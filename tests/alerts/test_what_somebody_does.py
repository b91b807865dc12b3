"""What somebody does about an open alert, what stays unseen, and how an alert stands; the chain holds all of it."""

from datetime import date, timedelta
from hashlib import sha256
from typing import Any

import pytest

from alerts import services
from alerts.checks.escalation import escalate_unseen
from alerts.checks.level_preview import level_preview
from alerts.models import Alert, AlertEvent, AlertNote, AlertWork
from alerts.selectors import (
    alert_history,
    alerts_of,
    levels_of,
    not_counted_since,
    notes_of,
    rules_of_group,
    with_state,
    works_linked_to,
)
from alerts.selectors.alerts import deeds_done
from alerts.services.alert import alert_note_hash, event_hash
from farms.ledger import Actor, row_hash, row_values, verify_links
from farms.models import Facility, Farm, Group, LedgerEntry, Season, User
from monitoring.models import Station, Work
from tests.alerts.scene import alerts, check, check_time, count_week, events, monday
from tests.cast import acting, as_factory, as_role

pytestmark = pytest.mark.django_db
HIGH, LOW = [150] * 5, [50] * 5
MORNING = check_time(monday(0)) + timedelta(hours=3)


def season(group: Group, stations: list[Station], weeks: list) -> None:
    for number, counts in enumerate(weeks):
        if counts is not None:
            count_week(stations, monday(number), counts)
        check(group, monday(number))


@pytest.fixture
def open_one(group: Group, northfield: Farm, cards: list[Station]) -> Alert:
    """An alert over the level, opened with the season's first week."""
    season(group, cards, [HIGH])
    return alerts(northfield, rule="over")[0]


@pytest.fixture
def by_anna(anna: User) -> Actor:
    return Actor("farm_staff", anna.id)


def make_work(farm: Farm, day: date) -> Work:
    with as_factory():
        return Work.objects.create(
            farm=farm, kind="clean_out", done_on=day, recorded_at=MORNING, actor_kind="farm_staff", entry=0
        )  # fmt: skip


def standing(alert: Alert) -> Any:
    found = with_state(alerts_of(alert.farm)).get(id=alert.id)
    many = list(alerts_of(alert.farm))
    deeds_done(many)
    [same] = [each for each in many if each.id == alert.id]
    assert (same.seen_at, same.later_until) == (found.seen_at, found.later_until)
    return found


class TestNotes:
    def test_are_kept_with_their_event_and_chained_by_a_salted_hash(
        self, northfield: Farm, open_one: Alert, anna: User, by_anna: Actor
    ):
        with acting(anna):
            event = services.acknowledge(alert=open_one, note=" Clearing the pens. ", actor=by_anna, now=MORNING)
            assert notes_of(open_one) == {event.id: "Clearing the pens."}
            assert verify_links(northfield.id) == []
        with as_factory():
            note, entry = AlertNote.objects.get(), LedgerEntry.objects.get(farm=northfield, number=event.entry)
        hashes = sorted([event_hash(event), alert_note_hash(note)])
        assert bytes(entry.rows_hash) == sha256(b"".join(hashes)).digest()

    def test_may_be_left_away_and_be_erased(self, open_one: Alert, anna: User, by_anna: Actor):
        with acting(anna):
            services.acknowledge(alert=open_one, note="", actor=by_anna, now=MORNING)
            assert notes_of(open_one) == {}
            assert [event.kind for event in alert_history(open_one)] == ["opened", "acknowledged"]

    def test_of_more_than_2000_characters_are_refused_and_nothing_is_stored(
        self, open_one: Alert, anna: User, by_anna: Actor
    ):
        with acting(anna), pytest.raises(services.NoteTooLong):
            services.acknowledge(alert=open_one, note="x" * 2001, actor=by_anna, now=MORNING)
        assert events(open_one) == [("opened", monday(0))]

    def test_carla_reads_none(self, open_one: Alert, anna: User, carla: User, by_anna: Actor):
        with acting(anna):
            services.acknowledge(alert=open_one, note="private", actor=by_anna, now=MORNING)
        with acting(carla):
            assert notes_of(open_one) == {}


class TestLater:
    TODAY = monday(1)

    def test_is_put_off_to_a_day(self, open_one: Alert, anna: User, by_anna: Actor):
        until = self.TODAY + timedelta(days=14)
        with acting(anna):
            services.snooze(alert=open_one, until=until, actor=by_anna, now=MORNING)
            found = standing(open_one)
            assert (found.later_until, found.seen_at) == (until, MORNING)

    @pytest.mark.parametrize("days", [0, -1, 61])
    def test_from_tomorrow_on_for_sixty_days_at_most(self, days: int, open_one: Alert, anna: User, by_anna: Actor):
        with acting(anna), pytest.raises(services.PutOffTooFar, match="2026-04-14 to 2026-06-12"):
            services.snooze(alert=open_one, until=self.TODAY + timedelta(days=days), actor=by_anna, now=MORNING)

    def test_a_matter_that_came_back_is_not_put_off_any_more(
        self, group: Group, northfield: Farm, cards: list[Station], anna: User, by_anna: Actor
    ):
        season(group, cards, [HIGH])
        (alert,) = alerts(northfield, rule="over")
        with acting(anna):
            services.snooze(alert=alert, until=monday(8), actor=by_anna, now=MORNING)
        for number, counts in ((1, LOW), (2, LOW), (3, HIGH)):
            count_week(cards, monday(number), counts)
            check(group, monday(number))
        with acting(anna):
            found = standing(alert)
            assert (found.reopened_week, found.later_until, found.seen_at) == (monday(3), None, None)


class TestWork:
    def test_that_was_done_about_it_is_linked_once(self, northfield: Farm, open_one: Alert, anna: User, by_anna: Actor):
        work = make_work(northfield, monday(1))
        with acting(anna):
            first, second = (
                services.link_work(alert=open_one, work=work, actor=by_anna, now=MORNING) for _ in range(2)
            )
            assert first.id == second.id
            assert [link.work.kind for link in works_linked_to(open_one)] == ["clean_out"]
            assert first.evidence == {"work": str(work.id)}
        with as_factory():
            link, entry = AlertWork.objects.get(), LedgerEntry.objects.get(farm=northfield, number=first.entry)
        hashes = sorted([event_hash(first), row_hash("alerts_alertwork", row_values(link))])
        assert bytes(entry.rows_hash) == sha256(b"".join(hashes)).digest()

    def test_of_before_the_alert_is_refused(self, northfield: Farm, open_one: Alert, anna: User, by_anna: Actor):
        work = make_work(northfield, monday(0) - timedelta(days=1))
        with acting(anna), pytest.raises(services.WorkBeforeAlert):
            services.link_work(alert=open_one, work=work, actor=by_anna, now=MORNING)


def test_nothing_is_done_about_a_closed_alert(
    group: Group, northfield: Farm, cards: list[Station], anna: User, by_anna: Actor
):
    season(group, cards, [HIGH, LOW, LOW])
    (alert,) = alerts(northfield, rule="over")
    now = check_time(monday(2))
    work = make_work(northfield, monday(1))
    deeds = [
        lambda: services.mark_seen(alert=alert, actor=by_anna, now=now),
        lambda: services.acknowledge(alert=alert, note="", actor=by_anna, now=now),
        lambda: services.snooze(alert=alert, until=monday(5), actor=by_anna, now=now),
        lambda: services.link_work(alert=alert, work=work, actor=by_anna, now=now),
    ]
    for deed in deeds:
        with acting(anna), pytest.raises(services.AlertClosed):
            deed()


class TestUnseen:
    """What nobody looked at for seven days is told to the adviser."""

    def escalate(self, group: Group, days: float) -> int:
        with as_role("worker"):
            return escalate_unseen(group, check_time(monday(0)) + timedelta(days=days))

    def test_after_seven_days_and_once(self, group: Group, northfield: Farm, open_one: Alert):
        assert self.escalate(group, 6.99) == 0
        assert self.escalate(group, 7) == 1
        assert self.escalate(group, 8) == 0
        assert [kind for kind, _ in events(open_one)] == ["opened", "escalated"]
        with as_factory():
            entry = LedgerEntry.objects.filter(farm=northfield).latest("number")
            event = AlertEvent.objects.get(kind="escalated")
            assert bytes(entry.rows_hash) == sha256(event_hash(event)).digest()
            assert verify_links(northfield.id) == []

    def test_what_somebody_saw_is_not(self, group: Group, open_one: Alert, anna: User, by_anna: Actor):
        with acting(anna):
            services.mark_seen(alert=open_one, actor=by_anna, now=MORNING)
        assert self.escalate(group, 30) == 0

    def test_how_they_hang_stays_on_the_farm(self, group: Group, northfield: Farm):
        check(group, monday(0))
        assert [alert.rule for alert in alerts(northfield)] == ["siting"]
        assert self.escalate(group, 30) == 0

    def test_what_came_back_is_told_again(self, group: Group, northfield: Farm, cards: list[Station]):
        season(group, cards, [HIGH])
        assert self.escalate(group, 7) == 1
        for number, counts in ((1, LOW), (2, LOW), (3, HIGH)):
            count_week(cards, monday(number), counts)
            check(group, monday(number))
        assert self.escalate(group, 24) == 0
        assert self.escalate(group, 29) == 1

    def test_another_groups_alerts_are_left_alone(self, group: Group, open_one: Alert):
        with as_factory():
            other = Group.objects.create(name="Hill Advisers", slug="hill", time_zone="America/Chicago")
        assert self.escalate(other, 30) == 0


class TestNotCountedSince:
    def test_an_open_alert_says_since_when_nothing_was_counted(
        self, group: Group, northfield: Farm, cards: list[Station], anna: User
    ):
        season(group, cards, [HIGH, LOW, None, ["lost"] * 5])
        (alert,) = alerts(northfield, rule="over")
        with acting(anna):
            found = standing(alert)
            assert (found.closed_at, not_counted_since(found)) == (None, monday(1))

    def test_a_counted_one_says_nothing(self, open_one: Alert, anna: User):
        with acting(anna):
            assert not_counted_since(standing(open_one)) is None

    def test_it_ends_as_season_closed_and_never_as_solved(self, group: Group, northfield: Farm, cards: list[Station]):
        season(group, cards, [HIGH, None, None])
        with as_factory():
            Season.objects.filter(farm=northfield).update(closes_on=monday(3))
        check(group, monday(3))
        (alert,) = alerts(northfield, rule="over")
        assert alert.closed_because == "season_closed"


class TestAGroupsRules:
    def rule(self, **values: Any) -> services.NewRule:
        usual = {"rule": "overdue", "is_on": True, "reason": "every ten days here", "valid_from": monday(1)}
        return services.NewRule(**{**usual, "numbers": {"days": 14}, **values})

    def test_hold_from_their_day_on_and_the_last_one_set_counts(self, group: Group, erik: User):
        with acting(erik):
            for days in (14, 21):
                rule = self.rule(numbers={"days": days})
                services.set_group_rule(group=group, rule=rule, by=erik, now=MORNING + timedelta(minutes=days))
            assert rules_of_group(group.id, monday(1)).number("overdue", "days") == 21
            assert rules_of_group(group.id, monday(0)).number("overdue", "days") == 10
            assert rules_of_group(group.id, monday(1)).is_on("over")

    @pytest.mark.parametrize(
        ("values", "error"),
        [
            ({"rule": "moon"}, services.RuleUnknown),
            ({"numbers": {"weeks": 3}}, services.RuleNumberUnknown),
            ({"numbers": {"days": 7}}, services.RuleNumberOutside),
            ({"numbers": {"days": float("nan")}}, services.RuleNumberOutside),
            ({"reason": " "}, services.RuleWithoutReason),
            ({"valid_from": monday(0)}, services.RuleFromThePast),
        ],
    )
    def test_what_can_not_work_is_refused_with_what_to_do(self, values: dict, error: type, group: Group, erik: User):
        with acting(erik), pytest.raises(error):
            services.set_group_rule(group=group, rule=self.rule(**values), by=erik, now=MORNING)


class TestALevelTried:
    def test_on_the_last_season_tells_the_alerts_it_would_have_had(
        self, group: Group, northfield: Farm, calf_barn: Facility, cards: list[Station], anna: User
    ):
        season(group, cards, [[90] * 5, [120] * 5, [70] * 5, [60] * 5, None, [95] * 5])
        with acting(anna):
            told = level_preview(northfield, method="card", value=85, facility=None, today=monday(9))
            assert told is not None
            assert [(each.opened_week, each.closed_week, each.highest) for each in told.alerts] == [
                (monday(0), None, 120.0)
            ]
            assert [(each.opened_week, each.closed_week) for each in told.alerts_now] == [(monday(1), monday(3))]
            of_barn = level_preview(northfield, method="card", value=200, facility=calf_barn, today=monday(9))
            assert of_barn is not None
            assert (of_barn.alerts, of_barn.weeks_counted) == ([], 5)

    def test_where_nothing_was_judged_there_is_nothing_to_try(self, northfield: Farm, anna: User):
        with acting(anna):
            assert level_preview(northfield, method="card", value=85, facility=None, today=monday(9)) is None


def test_a_farms_own_level_can_be_taken_back(group: Group, northfield: Farm, anna: User):
    with acting(anna):
        level = services.NewLevel("card", 80.0, "invented", monday(1))
        services.set_farm_level(farm=northfield, level=level, by=anna, now=MORNING)
        place = services.TakenBack("card", "the neighbours moved", monday(2))
        services.take_farm_level_back(farm=northfield, place=place, by=anna, now=MORNING)
        assert (levels_of(northfield, monday(1)).of("card").value) == 80.0
        back = levels_of(northfield, monday(2)).of("card")
        assert (back.value, back.level_of) == (100, "default")
        with pytest.raises(services.NothingToTakeBack):
            services.take_farm_level_back(farm=northfield, place=place, by=anna, now=MORNING)
        assert verify_links(northfield.id) == []
