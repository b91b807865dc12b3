"""Kept out: what may be typed from a label, what runs when, and which rounds it puts off."""

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from django.db import ProgrammingError, connection, transaction
from hypothesis import given
from hypothesis import strategies as st

from farms.errors import Missing
from farms.ledger import Actor
from farms.selectors import facilities_of
from monitoring.errors import AlreadyReplaced, ReentryRefused
from monitoring.models import Reentry
from monitoring.rules.reentry import after_kept_out, days_of, on_the_clock
from monitoring.selectors import kept_out_of, next_round_due, reentries_of, replaced_by
from monitoring.services import Mending, ReentryTyped, record_reentry
from tests.cast import NOW, SEASON_OPENS, acting, as_role
from tests.monitoring.sending import STAFF, TODAY, chain_holds

HOUR, DAY = timedelta(hours=1), timedelta(days=1)
ZONE = "America/Chicago"


def typed(begins=NOW, until=NOW + 12 * HOUR, says="until sprays have dried", facility=None):
    return ReentryTyped(begins, until, says, facility)


def record(farm, what, mending=None, now=NOW, actor=STAFF):
    return record_reentry(farm=farm, typed=what, actor=actor, now=now, mending=mending)


@pytest.mark.django_db
class TestTyping:
    def test_it_runs_from_its_beginning_until_just_before_its_end(self, northfield, calf_barn, ben):
        with acting(ben):
            row = record(northfield, typed(facility=calf_barn), actor=Actor("farm_staff", ben.id))
            runs = [NOW, NOW + 12 * HOUR - timedelta(microseconds=1)]
            assert all([each.id for each in kept_out_of(northfield, at)] == [row.id] for at in runs)
            assert kept_out_of(northfield, NOW - HOUR) == kept_out_of(northfield, NOW + 12 * HOUR) == []
        assert (row.typed_by, row.facility_id) == (ben.id, calf_barn.id)
        assert chain_holds(northfield)

    @pytest.mark.parametrize(
        ("wrong", "pointer", "says"),
        [
            ({"until": NOW}, "/until", "ends before it begins"),
            ({"until": NOW - HOUR}, "/until", "ends before it begins"),
            ({"until": NOW + 60 * DAY + HOUR}, "/until", "more than 60 days"),
            ({"begins": NOW + 61 * DAY, "until": NOW + 62 * DAY}, "/begins_at", "Check the day and its year"),
            ({"begins": NOW - 367 * DAY, "until": NOW - 366 * DAY}, "/begins_at", "Check the day and its year"),
            ({"says": "  "}, "/label_says", "Type what the label says"),
            ({"says": "x" * 201}, "/label_says", "longer than 200"),
            ({"says": "a\x00b"}, "/label_says", "no text"),
            ({"says": "a\nb"}, "/label_says", "no text"),
        ],
    )
    def test_what_cant_be_right_is_refused_with_a_sentence(self, northfield, anna, wrong, pointer, says):
        with acting(anna):
            with pytest.raises(ReentryRefused) as refused:
                record(northfield, typed(**wrong))
            assert [each.pointer for each in refused.value.errors] == [pointer]
            assert says in refused.value.errors[0].detail
            assert not reentries_of(northfield).exists()

    def test_sixty_days_are_taken(self, northfield, anna):
        with acting(anna):
            record(northfield, typed(until=NOW + 60 * DAY))

    def test_another_farms_barn_is_refused(self, northfield, anna, southmead, carla):
        with acting(carla):
            barn = facilities_of(southmead)[0]
        with acting(anna), pytest.raises(ReentryRefused):
            record(northfield, typed(facility=barn))

    def test_a_typing_error_is_mended_by_a_later_row_and_both_stay(self, northfield, anna):
        with acting(anna):
            first = record(northfield, typed(until=NOW + 48 * HOUR))
            with pytest.raises(ReentryRefused) as refused:
                record(northfield, typed(), Mending(first, " "))
            assert refused.value.errors[0].pointer == "/reason"
            second = record(northfield, typed(), Mending(first, "typed the wrong day"))
            assert [each.id for each in kept_out_of(northfield, NOW)] == [second.id]
            assert [(each.id, each.replaced) for each in reentries_of(northfield)] == [
                (second.id, False),
                (first.id, True),
            ]
            assert [each.id for each in replaced_by(second)] == [first.id]
            # Nothing is mended twice, or two would run.
            with pytest.raises(AlreadyReplaced):
                record(northfield, typed(), Mending(first, "again"))
        assert chain_holds(northfield)

    def test_row_security_shows_it_to_the_farms_own_and_nobody_changes_it(
        self, northfield, anna, ben, carla, southmead, erik
    ):
        with acting(anna):
            record(northfield, typed())
        for who, seen in ((anna, 1), (ben, 1), (carla, 0), (erik, 0)):
            with acting(who):
                assert Reentry.objects.count() == seen
        with acting(carla), pytest.raises(Missing):
            record(northfield, typed())
        with as_role("worker"):
            assert Reentry.objects.count() == 1
        for role in ("cohort", "region"):
            with as_role(role), pytest.raises(ProgrammingError, match="permission denied"), transaction.atomic():
                connection.cursor().execute("SELECT 1 FROM monitoring_reentry")


@pytest.mark.django_db
class TestRoundsDue:
    """Northfield's first round is due on April 13, seven days after its season opened."""

    DUE = SEASON_OPENS + 7 * DAY

    def local(self, day, hour):
        return datetime(day.year, day.month, day.day, hour, tzinfo=ZoneInfo(ZONE))

    def due(self, farm, today):
        return next_round_due(farm, today)

    def test_a_label_over_the_due_day_puts_the_round_off_to_the_day_on_which_it_ends(self, northfield, anna):
        with acting(anna):
            record(northfield, typed(self.local(self.DUE - DAY, 9), self.local(self.DUE + 2 * DAY, 9)))
            assert self.due(northfield, self.DUE - 3 * DAY) == self.DUE + 2 * DAY
            assert self.due(northfield, self.DUE + 9 * DAY) == self.DUE + 2 * DAY

    def test_one_that_ends_on_the_day_itself_puts_nothing_off(self, northfield, anna):
        with acting(anna):
            record(northfield, typed(self.local(self.DUE, 6), self.local(self.DUE, 18)))
            assert self.due(northfield, self.DUE) == self.DUE

    def test_while_one_runs_nothing_is_late_and_afterwards_it_is_again(self, northfield, anna):
        today = self.DUE + 5 * DAY
        with acting(anna):
            record(northfield, typed(self.local(today, 6), self.local(today + DAY, 6)))
            assert self.due(northfield, today) == today + DAY
            assert self.due(northfield, today + DAY) == self.DUE

    def test_one_barn_of_three_leaves_a_round_to_walk_and_all_three_leave_none(
        self, northfield, anna, calf_barn, free_stall_barn, dry_lot
    ):
        begins, ends = self.local(self.DUE, 6), self.local(self.DUE + DAY, 6)
        with acting(anna):
            for barn, due in ((calf_barn, self.DUE), (free_stall_barn, self.DUE), (dry_lot, self.DUE + DAY)):
                record(northfield, typed(begins, ends, facility=barn))
                assert self.due(northfield, self.DUE - DAY) == due

    def test_what_was_replaced_puts_nothing_off(self, northfield, anna):
        with acting(anna):
            wrong = record(northfield, typed(self.local(self.DUE, 6), self.local(self.DUE + 30 * DAY, 6)))
            right = typed(self.local(self.DUE, 6), self.local(self.DUE + DAY, 6))
            record(northfield, right, Mending(wrong, "a month too many"))
            assert self.due(northfield, TODAY) == self.DUE + DAY


class TestClocks:
    """In Chicago the clock goes forward on March 8, 2026 at 2:00, and back on November 1, 2026 at 2:00 (IANA tzdb)."""

    def test_an_hour_that_the_clock_leaves_out_is_no_time(self):
        assert on_the_clock(datetime.fromisoformat("2026-03-08T02:30"), ZONE, later=True) is None
        assert on_the_clock(datetime.fromisoformat("2026-03-08T03:00"), ZONE, later=True) == datetime(
            2026, 3, 8, 8, tzinfo=UTC
        )

    def test_an_hour_that_comes_twice_keeps_out_from_the_first_to_the_second(self):
        twice = datetime.fromisoformat("2026-11-01T01:30")
        begins, ends = (on_the_clock(twice, ZONE, later=later) for later in (False, True))
        assert (begins, ends) == (datetime(2026, 11, 1, 6, 30, tzinfo=UTC), datetime(2026, 11, 1, 7, 30, tzinfo=UTC))

    def test_days_are_the_farms_own_across_a_change_of_the_clock(self):
        begins, ends = datetime(2026, 3, 7, 23, tzinfo=ZoneInfo(ZONE)), datetime(2026, 3, 9, 0, tzinfo=ZoneInfo(ZONE))
        assert list(days_of(begins, ends, ZONE)) == [date(2026, 3, 7), date(2026, 3, 8)]

    @given(st.sets(st.dates(date(2026, 4, 1), date(2026, 5, 1))), st.dates(date(2026, 4, 1), date(2026, 5, 1)),
           st.dates(date(2026, 4, 1), date(2026, 5, 1)))  # fmt: skip
    def test_a_round_is_never_due_on_a_day_on_which_nobody_goes_in(self, kept_out, due, today):
        found = after_kept_out(due, today, kept_out)
        assert found >= due and found not in kept_out
        assert found == due or {found - DAY} <= kept_out or (today in kept_out and found > today)

    @pytest.mark.django_db
    def test_the_hour_that_comes_twice_is_an_hour_to_be_kept_out(self, northfield, anna):
        twice = datetime.fromisoformat("2026-11-01T01:30")
        begins, ends = (on_the_clock(twice, ZONE, later=later) for later in (False, True))
        with acting(anna):
            row = record(northfield, typed(begins, ends), now=begins)
            assert [each.id for each in kept_out_of(northfield, begins + HOUR / 2)] == [row.id]
