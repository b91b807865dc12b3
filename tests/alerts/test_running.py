"""What is known of the running: counted by the worker, read by those who may see no farm."""

from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from uuid import UUID

import pytest
from django.db import ProgrammingError, connection
from django.test.utils import CaptureQueriesContext

from alerts import monday as a_monday
from alerts.checks.calendar import due_at, due_weeks
from alerts.checks.failures import set_aside
from alerts.checks.running import note_running, retry_where_asked
from alerts.delivery import outbox
from alerts.models import CheckFailure, CheckRun, Digest, Ring, Running
from alerts.selectors.running import (
    Allowed,
    Kind,
    failures_of,
    last_ring,
    late_week,
    newest_runs,
    off_in_group,
    running_everywhere,
    running_of,
    what_is_off,
)
from farms.ids import moment_of
from farms.models import Farm, Group, Holding, Membership, Region, Season, User
from monitoring.models import Import, Station
from tests.alerts.scene import check_time, count_week, monday
from tests.cast import SEASON_OPENS, acting, as_factory, as_role, make_farm, make_user

pytestmark = pytest.mark.django_db
CHICAGO = "America/Chicago"
MINUTE, HOUR = timedelta(minutes=1), timedelta(hours=1)


def note(now: datetime, group: Group) -> Running:
    with as_role("worker"):
        note_running(now)
    row = running_of(group)
    assert row is not None
    return row


def run_monday(group: Group, now: datetime) -> list[date]:
    with as_role("worker"):
        return a_monday.check_group(group, now)


def kinds(row: Running, now: datetime) -> list[str]:
    return [off.kind for off in off_in_group(row, Allowed(), now)]


@pytest.fixture
def owned(northfield: Farm) -> Farm:
    """Northfield, with people who were there before its season."""
    with as_factory():
        Membership.objects.update(began_at=datetime(2026, 1, 1, tzinfo=UTC))
    return northfield


class TestWeeks:
    def test_the_first_week_that_is_due_is_the_oldest_that_is_not_judged(self, group: Group, northfield: Farm):
        now = check_time(monday(2))
        row = note(now, group)
        with as_role("worker"):
            assert row.due_week == due_weeks(group, now)[0] == monday(0)
        assert row.due_at == due_at(monday(0), CHICAGO)

    def test_the_week_to_come_is_told_so_that_it_is_late_without_a_worker(self, group: Group, owned: Farm):
        """The worker counts on Monday, dies, and eight days later the pages know by their own clock."""
        now = check_time(monday(0))
        run_monday(group, now)
        with as_role("worker"):
            outbox.send_due(now)
        row = note(now, group)
        assert (row.due_week, row.due_at) == (monday(1), due_at(monday(1), CHICAGO))
        assert late_week(group.id, row.due_at + HOUR) is None
        assert late_week(group.id, row.due_at + HOUR + MINUTE) == monday(1)
        assert kinds(row, row.due_at + 2 * HOUR) == []
        assert kinds(row, row.due_at + 2 * HOUR + MINUTE) == [Kind.CHECK_LATE]

    def test_a_tick_reads_the_weeks_of_a_little_more_than_a_year(self, group: Group, owned: Farm):
        with as_factory():
            Season.objects.create(farm=owned, opens_on=date(2020, 4, 6), closes_on=date(2020, 9, 6))
            old = [date(2015, 1, 5) + timedelta(weeks=number) for number in range(300)]
            CheckRun.objects.bulk_create(CheckRun(group=group, week=week, state="done") for week in old)
        now = check_time(monday(0))
        with as_role("worker"), CaptureQueriesContext(connection) as queries:
            note_running(now)
        (weeks,) = [each["sql"] for each in queries if each["sql"].startswith('SELECT "alerts_checkrun"."group_id"')]
        with connection.cursor() as cursor:
            cursor.execute(weeks)
            assert cursor.fetchall() == []
        assert running_everywhere()[0].due_week == monday(0)

    def test_without_a_season_nothing_is_due(self, group: Group, northfield: Farm):
        with as_factory():
            Season.objects.all().delete()
        row = note(check_time(monday(2)), group)
        assert (row.due_week, row.due_at, late_week(group.id, check_time(monday(9)))) == (None, None, None)

    def test_a_season_that_is_over_ends_the_line(self, group: Group, owned: Farm):
        with as_factory():
            Season.objects.update(closes_on=monday(1) - timedelta(days=1))
        run_monday(group, check_time(monday(0)))
        assert note(check_time(monday(0)), group).due_week is None


class TestCountsThatMustMatch:
    def test_a_monday_that_went_well_matches(self, group: Group, owned: Farm, cards: list[Station]):
        count_week(cards, monday(0), [150] * 5)
        now = check_time(monday(0))
        run_monday(group, now)
        row = note(now + MINUTE, group)
        assert (row.week, row.to_judge, row.judged, row.failed, row.owed, row.written) == (monday(0), 1, 1, 0, 1, 1)
        assert row.settled_at == now + MINUTE
        assert kinds(row, now + MINUTE) == []

    def test_a_farm_that_the_run_forgot_is_off(self, group: Group, owned: Farm, southmead: Farm):
        now = check_time(monday(0))
        run_monday(group, now)
        with as_factory():
            CheckRun.objects.update(farms=1)
        row = note(now, group)
        found = next(off for off in off_in_group(row, Allowed(), now) if off.kind == Kind.NOT_JUDGED)
        assert (found.wanted, found.found) == (2, 1)

    def test_a_mail_that_was_not_written_is_off_until_it_is(self, group: Group, owned: Farm):
        now = check_time(monday(0))
        run_monday(group, now)
        with as_factory():
            kept = list(Digest.objects.all())
            Digest.objects.all().delete()
        row = note(now, group)
        assert (row.owed, row.written, kinds(row, now)) == (1, 0, [Kind.NOT_WRITTEN])
        with as_factory():
            Digest.objects.bulk_create(kept)
        assert kinds(note(now + MINUTE, group), now) == []

    def test_a_farm_set_aside_with_its_error_is_no_farm_forgotten(
        self, group: Group, owned: Farm, southmead: Farm, monkeypatch: pytest.MonkeyPatch
    ):
        break_for(southmead, monkeypatch)
        now = check_time(monday(0))
        run_monday(group, now)
        row = note(now, group)
        assert (row.to_judge, row.judged, row.failed, row.owed, row.written) == (2, 1, 1, 1, 1)
        assert (row.set_aside, row.retry_at, kinds(row, now)) == (1, now + HOUR, [])

    def test_who_became_an_owner_after_the_check_is_owed_no_mail(self, group: Group, owned: Farm):
        with as_factory():
            Membership.objects.update(began_at=check_time(monday(0)) + MINUTE)
            Digest.objects.all().delete()
        run_monday(group, check_time(monday(0)))
        with as_factory():
            Digest.objects.all().delete()
        row = note(check_time(monday(0)), group)
        assert (row.owed, row.written) == (0, 0)

    def test_a_week_judged_when_a_later_one_was_due_owes_no_mails(self, group: Group, owned: Farm):
        run_monday(group, check_time(monday(2)))
        with as_factory():
            CheckRun.objects.exclude(week=monday(0)).delete()
        row = note(check_time(monday(2)), group)
        assert (row.week, row.owed, row.due_week) == (monday(0), 0, monday(1))

    def test_what_matched_once_stays_so_when_a_season_is_opened_for_the_past(
        self, group: Group, owned: Farm, elsewhere: Region, carla: User
    ):
        now = check_time(monday(0))
        run_monday(group, now)
        note(now, group)
        make_farm("Latecomer", elsewhere, carla)
        assert kinds(note(now + 2 * HOUR, group), now) == []

    def test_a_farm_out_of_season_with_something_open_is_to_be_judged(
        self, group: Group, owned: Farm, cards: list[Station]
    ):
        count_week(cards, monday(0), [150] * 5)
        run_monday(group, check_time(monday(0)))
        with as_factory():
            Season.objects.update(closes_on=monday(1) - timedelta(days=1))
        now = check_time(monday(1))
        assert note(now, group).due_week == monday(1)
        assert run_monday(group, now) == [monday(1)]
        row = note(now, group)
        assert (row.week, row.to_judge, row.judged) == (monday(1), 1, 1)


def break_for(farm: Farm, monkeypatch: pytest.MonkeyPatch) -> None:
    """Let whatever is stored fail where this farm is among it."""
    from alerts.checks import judge

    whole = judge._judge_together

    def breaks(farms, *args):
        if farm.id in {each.id for each in farms}:
            raise ValueError("an invented fault")
        return whole(farms, *args)

    monkeypatch.setattr(judge, "_judge_together", breaks)


class TestMails:
    @pytest.fixture
    def judged(self, group: Group, owned: Farm) -> datetime:
        now = check_time(monday(0))
        run_monday(group, now)
        return now

    def test_those_on_their_way_and_since_when(self, group: Group, judged: datetime):
        row = note(judged, group)
        assert (row.waiting, row.sending, row.sent, row.oldest_mail_at) == (2, 0, 0, judged)
        assert kinds(row, judged + 7 * HOUR) == []
        assert kinds(row, judged + 7 * HOUR + MINUTE) == [Kind.MAIL_WAITS]

    def test_those_sent_and_refused_of_the_newest_week(self, group: Group, judged: datetime, anna: User):
        note(judged, group)
        with as_factory():
            Membership.objects.filter(user=anna).update(ended_at=judged)
        with as_role("worker"):
            outbox.send_due(judged + MINUTE)
        row = note(judged + MINUTE, group)
        assert (row.waiting, row.sending, row.sent, row.refused, row.oldest_mail_at) == (0, 0, 1, 1, None)

    def test_a_refusal_that_comes_later_is_seen_within_the_hour(self, group: Group, judged: datetime):
        with as_role("worker"):
            outbox.send_due(judged)
        assert note(judged, group).refused == 0
        with as_factory():
            Digest.objects.update(state="refused")
        assert note(judged + 30 * MINUTE, group).refused == 0
        assert note(judged + HOUR, group).refused == 1


class TestSetAside:
    def test_a_coordinators_wish_is_done_by_the_worker(self, group: Group, northfield: Farm, southmead: Farm):
        now = check_time(monday(0))
        with as_role("worker"):
            for farm in (northfield, southmead):
                set_aside(farm, monday(0), ValueError("an invented fault"), now)
        note(now, group)
        Running.objects.filter(group_id=group.id).update(retry_asked_at=now + MINUTE)
        with as_role("worker"):
            assert retry_where_asked(now + 2 * MINUTE) == 2
            assert retry_where_asked(now + 3 * MINUTE) == 0
        row = note(now + 2 * MINUTE, group)
        assert (row.retry_at, row.retry_asked_at) == (now + 2 * MINUTE, None)

    def test_another_groups_farms_wait_on(self, group: Group, northfield: Farm):
        now = check_time(monday(0))
        with as_factory():
            other = Group.objects.create(name="Hill Advisers", slug="hill", time_zone=CHICAGO)
        with as_role("worker"):
            set_aside(northfield, monday(0), ValueError("an invented fault"), now)
        note(now, group)
        Running.objects.filter(group_id=other.id).update(retry_asked_at=now)
        with as_role("worker"):
            assert retry_where_asked(now) == 0

    def test_the_farm_and_its_error_are_told_to_whoever_may_see_the_farm(
        self, northfield: Farm, erik: User, dana: User, carla: User
    ):
        with as_role("worker"):
            set_aside(northfield, monday(0), ValueError("an invented fault"), check_time(monday(0)))
        with acting(dana):
            assert [each.farm.name for each in failures_of([northfield.id])] == ["Northfield"]
        for stranger in (erik, carla):
            with acting(stranger):
                assert failures_of([northfield.id]) == []


def test_imports_that_wait_and_since_when(group: Group, northfield: Farm, anna: User):
    with as_factory():
        for state, ended in (("waiting", None), ("running", None), ("done", check_time(monday(0)))):
            Import.objects.create(
                farm=northfield, user_id=anna.id, language="en", form="csv", source="file", state=state,
                due_at=check_time(monday(0)), made_at=check_time(monday(0)), ended_at=ended,
            )  # fmt: skip
        first = Import.objects.earliest("id")
    row = note(check_time(monday(0)), group)
    assert (row.imports, row.oldest_import_at) == (2, moment_of(first.id))
    late = row.oldest_import_at + 2 * HOUR + MINUTE
    assert Kind.IMPORT_WAITS in kinds(row, late)


def test_an_id_tells_when_it_was_made():
    """The example of RFC 9562, appendix A.6: Tuesday, February 22, 2022, 14:22:22 in UTC-5."""
    made = UUID("017F22E2-79B0-7CC3-98C4-DC0C0C07398F")
    assert moment_of(made) == datetime(2022, 2, 22, 19, 22, 22, tzinfo=UTC)


class TestBell:
    def test_it_is_noted_when_it_rang(self, group: Group):
        now = check_time(monday(0))
        note(now, group)
        note(now + MINUTE, group)
        assert last_ring() == now + MINUTE
        assert Ring.objects.count() == 1

    def test_a_silent_bell_is_off_before_anything_else(self, group: Group, northfield: Farm):
        now = check_time(monday(0))
        assert [off.kind for off in what_is_off([], None, Allowed(), now)] == [Kind.NO_BELL]
        note(now, group)
        allowed, later = Allowed(), now + 10 * MINUTE
        assert what_is_off([], last_ring(), allowed, later) == []
        found = what_is_off(running_everywhere(), last_ring(), allowed, later + 2 * HOUR)
        assert [off.kind for off in found] == [Kind.NO_BELL, Kind.CHECK_LATE]


def test_as_many_queries_for_many_groups_as_for_one(group: Group, owned: Farm, dana: User):
    now = check_time(monday(0))
    run_monday(group, now)
    with as_role("worker"), CaptureQueriesContext(connection) as one:
        note_running(now)
    for name in ("first", "second", "third"):
        group_of_its_own(name, now)
    with as_role("worker"), CaptureQueriesContext(connection) as four:
        note_running(now + MINUTE)
    assert len(running_everywhere()) == 4
    assert all(row.owed == row.written for row in running_everywhere())
    assert len(four) <= len(one) + 2 <= 18


def group_of_its_own(name: str, now: datetime) -> None:
    with as_factory():
        made = Group.objects.create(name=name, slug=name, time_zone=CHICAGO)
        region = Region.objects.create(group=made, name=name, slug=name)
    make_farm(f"{name} farm", region, make_user(name))
    with as_factory():
        Membership.objects.update(began_at=datetime(2026, 1, 1, tzinfo=UTC))
    assert Holding.objects.filter(group=made).exists()
    assert run_monday(made, now) == [SEASON_OPENS]


def test_what_has_not_changed_is_not_written_again(group: Group, owned: Farm):
    now = check_time(monday(0))
    run_monday(group, now)
    with as_role("worker"):
        outbox.send_due(now)
    note(now, group)
    with as_role("worker"), CaptureQueriesContext(connection) as queries:
        note_running(now + MINUTE)
    writing = [each["sql"] for each in queries if each["sql"].startswith(("INSERT", "UPDATE"))]
    assert len(writing) == 1 and "alerts_ring" in writing[0]


@pytest.mark.parametrize(
    "change",
    [
        lambda: Running.objects.update(written=9),
        lambda: Running.objects.update(due_at=None),
        lambda: Running.objects.all().delete(),
        lambda: Ring.objects.update(rung_at=datetime(2026, 1, 1, tzinfo=UTC)),
        lambda: CheckFailure.objects.update(retry_at=datetime(2026, 1, 1, tzinfo=UTC)),
    ],
)
def test_the_pages_may_ask_for_another_try_and_change_no_count(
    change: Callable[[], object], group: Group, northfield: Farm, erik: User
):
    note(check_time(monday(0)), group)
    with acting(erik), pytest.raises(ProgrammingError, match="permission denied"):
        change()


def test_the_newest_run_of_each_group(group: Group, owned: Farm):
    run_monday(group, check_time(monday(1)))
    assert newest_runs()[group.id].week == newest_runs(state="done")[group.id].week == monday(1)
    assert newest_runs(state="running") == {}
