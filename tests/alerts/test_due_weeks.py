"""When a week is due, who gets it, and what an outage changes: nothing but the moment."""

import itertools
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, date, datetime, timedelta

import pytest
from django.db import OperationalError, connection, transaction

from alerts import monday as a_monday
from alerts.checks import claims
from alerts.checks.calendar import due_at, due_weeks, newest_due
from alerts.checks.claims import LEASE, RunLost, claim, finish, give_back, keep_run, renew
from alerts.delivery import due_digests
from alerts.models import Assessment, CheckRun, Digest, MondayList
from alerts.models.check import RunState
from farms.ledger import verify_links
from farms.models import Farm, Group, Season
from monitoring.models import RegionReport, Station
from tests.alerts.scene import alerts, check, check_time, count_week, events, monday
from tests.cast import as_factory, as_role, as_worker_process

CHICAGO = "America/Chicago"


def test_a_week_is_due_from_the_groups_own_monday_at_five():
    # 05:00 in Chicago is 10:00 UTC in summer.
    assert due_at(date(2026, 6, 1), CHICAGO) == datetime(2026, 6, 8, 10, tzinfo=UTC)
    assert newest_due(CHICAGO, datetime(2026, 6, 8, 9, 59, tzinfo=UTC)) == date(2026, 5, 25)
    assert newest_due(CHICAGO, datetime(2026, 6, 8, 10, tzinfo=UTC)) == date(2026, 6, 1)


def test_five_stays_five_when_the_clocks_change():
    # Daylight saving time ends in the United States on November 1, 2026 (common practice, no source).
    assert due_at(date(2026, 10, 26), CHICAGO) == datetime(2026, 11, 2, 11, tzinfo=UTC)


@pytest.mark.django_db
class TestDueWeeks:
    def test_every_week_since_the_season_opened_oldest_first(self, group: Group, northfield: Farm):
        with as_role("worker"):
            assert due_weeks(group, check_time(monday(2))) == [monday(0), monday(1), monday(2)]

    def test_a_week_that_is_done_is_not_due(self, group: Group, northfield: Farm):
        check(group, monday(0))
        with as_role("worker"):
            assert due_weeks(group, check_time(monday(1))) == [monday(1)]

    def test_a_group_without_a_season_has_nothing_to_do(self, group: Group, northfield: Farm):
        with as_factory():
            Season.objects.all().delete()
        with as_role("worker"):
            assert due_weeks(group, check_time(monday(2))) == []

    def test_after_the_season_nothing_is_due_but_to_close_what_is_open(
        self, group: Group, northfield: Farm, cards: list[Station]
    ):
        count_week(cards, monday(0), [150] * 5)
        check(group, monday(0))
        check(group, monday(1))
        with as_factory():
            # Closed late, back to a day that was judged already.
            Season.objects.filter(farm=northfield).update(closes_on=monday(1))
        with as_role("worker"):
            assert due_weeks(group, check_time(monday(2))) == [monday(2)]
        check(group, monday(2))
        assert alerts(northfield, still_open=True) == []
        with as_role("worker"):
            assert due_weeks(group, check_time(monday(3))) == []


@pytest.mark.django_db
class TestClaims:
    def test_two_workers_claim_one_run_once(self, group: Group):
        with as_role("worker"):
            now = check_time(monday(0))
            assert claim(group.id, monday(0), now) is not None
            assert claim(group.id, monday(0), now) is None

    def test_a_lease_that_ran_out_is_claimed_again_and_the_first_can_not_finish(self, group: Group):
        with as_role("worker"):
            now = check_time(monday(0))
            first = claim(group.id, monday(0), now)
            second = claim(group.id, monday(0), now + LEASE)
            assert first is not None and second is not None
            assert not finish(first, now=now + LEASE)
            assert finish(second, now=now + LEASE)
            assert claim(group.id, monday(0), now + 2 * LEASE) is None

    def test_a_run_that_goes_on_is_kept(self, group: Group, ten_minutes_pass: None):
        with as_role("worker"):
            now = check_time(monday(0))
            run = claim(group.id, monday(0), now)
            assert run is not None
            renew(run)
            assert claim(group.id, monday(0), now + LEASE + timedelta(minutes=9)) is None

    def test_who_lost_a_run_can_neither_keep_nor_renew_it(self, group: Group):
        with as_role("worker"):
            now = check_time(monday(0))
            first, second = claim(group.id, monday(0), now), claim(group.id, monday(0), now + LEASE)
            assert first is not None and second is not None
            for act in (renew, keep_run):
                act(second)
                with pytest.raises(RunLost):
                    act(first)

    def test_a_worker_that_died_is_missed_for_five_minutes(self, group: Group):
        with as_role("worker"):
            now = check_time(monday(0))
            claim(group.id, monday(0), now)
            assert claim(group.id, monday(0), now + timedelta(minutes=4, seconds=59)) is None
            assert claim(group.id, monday(0), now + timedelta(minutes=5)) is not None

    def test_a_run_that_stopped_waits_longer_each_time(self, group: Group):
        with as_role("worker"):
            now, pauses = check_time(monday(0)), []
            for _ in range(8):
                run = claim(group.id, monday(0), now)
                assert run is not None
                give_back(run, "the disk was full", now=now)
                run.refresh_from_db()
                assert (run.state, run.error) == (RunState.DUE, "the disk was full")
                pauses.append((run.lease_until - now).total_seconds() / 60)
                assert claim(group.id, monday(0), now) is None
                now = run.lease_until
            assert pauses == [1, 2, 4, 8, 16, 32, 60, 60]


@pytest.fixture
def ten_minutes_pass(monkeypatch: pytest.MonkeyPatch) -> None:
    """Each look at the clock that measures work is ten minutes after the one before."""
    looks = itertools.count(0, 600)
    monkeypatch.setattr("farms.clock.time.monotonic", lambda: float(next(looks)))


def _check_as_worker(group: Group, later: timedelta = timedelta()) -> list[date]:
    with as_worker_process():
        return a_monday.check_group(group, check_time(monday(0)) + later)


def _claim_as_worker(group: Group, now: datetime) -> bool:
    with as_worker_process():
        return claim(group.id, monday(0), now) is not None


@pytest.fixture
def as_worker():
    """The whole process's connection as the weekly check's role, over many transactions."""
    with connection.cursor() as cursor:
        cursor.execute("SET ROLE flyround_worker")
    yield
    with connection.cursor() as cursor:
        cursor.execute("SET ROLE flyround_app")


@pytest.mark.django_db(transaction=True, databases="__all__")
class TestAnOutage:
    def test_of_ten_days_judges_every_week_and_mails_once(
        self, group: Group, northfield: Farm, cards: list[Station], as_worker: None
    ):
        for number in range(4):
            count_week(cards, monday(number), [150] * 5)
        a_monday.check_group(group, check_time(monday(0)))
        # Down from Tuesday after week 0 for ten days and more: back on the Thursday after week 2.
        back = check_time(monday(2)) + timedelta(days=3)
        assert a_monday.check_group(group, back) == [monday(1), monday(2)]
        assert a_monday.check_group(group, back) == []
        with as_factory():
            weeks = Assessment.objects.filter(farm=northfield, facility_id=None, method="card").order_by("week")
            assert [row.week for row in weeks] == [monday(0), monday(1), monday(2)]
            occasions = sorted(Digest.objects.values_list("occasion", flat=True))
            # ISO weeks of April 6 and April 20, 2026.
            assert occasions == ["2026-W15", "2026-W17"]
            assert sorted(MondayList.objects.values_list("occasion", flat=True)) == occasions
            assert set(CheckRun.objects.values_list("state", "error")) == {("done", "")}

    def test_a_run_that_broke_off_is_done_again_and_tells_nothing_twice(
        self, group: Group, northfield: Farm, cards: list[Station], as_worker: None
    ):
        count_week(cards, monday(0), [150] * 5)
        now = check_time(monday(0))
        a_monday.check_group(group, now)
        with as_factory():
            before = [model.objects.count() for model in (Assessment, Digest, MondayList, RegionReport)]
            CheckRun.objects.update(state=RunState.RUNNING, lease_until=now)
        assert a_monday.check_group(group, now) == [monday(0)]
        with as_factory():
            assert [model.objects.count() for model in (Assessment, Digest, MondayList, RegionReport)] == before
        assert len(alerts(northfield, rule="over")) == 1

    def test_two_workers_at_once_judge_a_week_once(self, group: Group, northfield: Farm, cards: list[Station]):
        count_week(cards, monday(0), [150] * 5)
        with ThreadPoolExecutor(4) as workers:
            done = list(workers.map(lambda _: _check_as_worker(group), range(4)))
        assert sorted(done) == [[], [], [], [monday(0)]]
        assert len(alerts(northfield, rule="over")) == 1
        with as_factory():
            assert Digest.objects.count() == 1

    def test_a_lease_that_ran_out_under_a_working_worker_changes_nothing(
        self, group: Group, northfield: Farm, cards: list[Station]
    ):
        count_week(cards, monday(0), [150] * 5)
        with ThreadPoolExecutor(4) as workers:
            # Each is late enough to find the lease of the one before run out.
            list(workers.map(lambda turn: _check_as_worker(group, turn * LEASE), range(4)))
        with as_factory():
            assert set(Assessment.objects.filter(farm=northfield).values_list("revision", flat=True)) == {1}
            assert verify_links(northfield.id) == []
        for alert in alerts(northfield, rule="over"):
            assert events(alert) == [("opened", monday(0))]

    def test_a_mail_that_is_written_is_not_written_again(
        self, group: Group, northfield: Farm, as_worker: None, monkeypatch: pytest.MonkeyPatch
    ):
        """So that a run which is killed again and again while it writes mails comes to its end."""
        now = check_time(monday(0))
        a_monday.check_group(group, now)
        with as_factory():
            CheckRun.objects.update(state=RunState.RUNNING, lease_until=now)
        written: list[Farm] = []
        monkeypatch.setattr(due_digests, "queue_digests", lambda _group, farms, **_: written.extend(farms) or 0)
        assert a_monday.check_group(group, now) == [monday(0)]
        assert written == []

    def test_a_claim_waits_for_the_part_under_way_and_then_finds_the_run_kept(self, group: Group, northfield: Farm):
        now = check_time(monday(0))
        with connection.cursor() as cursor:
            cursor.execute("SET ROLE flyround_worker")
        run = claim(group.id, monday(0), now)
        assert run is not None
        late = now + LEASE + timedelta(minutes=1)
        with ThreadPoolExecutor(1) as other:
            with transaction.atomic():
                keep_run(run)
                theirs = other.submit(_claim_as_worker, group, late)
                with pytest.raises(TimeoutError):
                    theirs.result(timeout=0.5)
                # The part was slow, and its worker comes to renew the run at its end.
                run.clock = lambda: late
                renew(run)
            assert theirs.result() is False
        assert finish(run, now=late)

    def test_a_claim_does_not_wait_for_ever_for_a_machine_that_was_lost(
        self, group: Group, northfield: Farm, monkeypatch: pytest.MonkeyPatch
    ):
        """It would keep a process from all other groups."""
        monkeypatch.setattr(claims, "PATIENCE", "200ms")
        with connection.cursor() as cursor:
            cursor.execute("SET ROLE flyround_worker")
        now = check_time(monday(0))
        run = claim(group.id, monday(0), now)
        assert run is not None
        with ThreadPoolExecutor(1) as other, transaction.atomic():
            keep_run(run)
            with pytest.raises(OperationalError, match="lock timeout"):
                other.submit(_claim_as_worker, group, now + LEASE).result(timeout=20)
        assert finish(run, now=now)

    def test_reports_that_failed_are_tried_again(
        self, group: Group, northfield: Farm, as_worker: None, monkeypatch: pytest.MonkeyPatch
    ):
        now = check_time(monday(0))
        with monkeypatch.context() as broken:
            broken.setattr(a_monday, "publish_week", None)
            a_monday.check_group(group, now)
        a_monday.judge_again(group, now + timedelta(minutes=5))
        with as_factory():
            assert CheckRun.objects.get().error == ""
            assert RegionReport.objects.exists()

    def test_region_reports_come_with_every_week(
        self, group: Group, northfield: Farm, cards: list[Station], as_worker: None
    ):
        a_monday.check_group(group, check_time(monday(1)))
        with as_factory():
            assert set(RegionReport.objects.values_list("week", flat=True)) == {monday(0), monday(1)}

    def test_a_run_lost_while_its_reports_are_published_is_left_to_whoever_has_it(
        self, group: Group, northfield: Farm, as_worker: None, monkeypatch: pytest.MonkeyPatch
    ):
        def lost(**_: object) -> int:
            raise RunLost

        monkeypatch.setattr(a_monday, "publish_week", lost)
        assert a_monday.check_group(group, check_time(monday(0))) == []
        with as_factory():
            assert (CheckRun.objects.get().state, Digest.objects.count()) == ("running", 0)

    def test_reports_that_fail_are_noted_on_the_run_and_stop_no_mail(
        self, group: Group, northfield: Farm, as_worker: None, monkeypatch: pytest.MonkeyPatch
    ):
        def fails(**_: object) -> int:
            raise RuntimeError("no cohort")

        monkeypatch.setattr(a_monday, "publish_week", fails)
        a_monday.check_group(group, check_time(monday(0)))
        with as_factory():
            run = CheckRun.objects.get()
            assert (run.state, run.error) == ("done", "Region reports were not published. RuntimeError: no cohort")
            assert Digest.objects.count() == 1
