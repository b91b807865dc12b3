"""Planned work: what may be planned, what is due when, who did it, what is left out and ended."""

from datetime import date, timedelta
from threading import Barrier, Thread
from typing import Any

import pytest
from django.db import IntegrityError, ProgrammingError, connections, transaction

from farms.errors import Missing
from farms.ledger import Actor
from farms.models import Farm
from farms.services.erasing import erase_rows
from farms.tenancy.acting import erase_on_farm
from monitoring.errors import (
    AlreadyLeftOut,
    PlanEnded,
    PlannedDayDone,
    PlannedStepRefused,
    PlannedWorkRefused,
    WorkRefused,
)
from monitoring.models import PlannedStep, PlannedWork, Work, WorkWords
from monitoring.rules.planned_work import due_on
from monitoring.selectors import due_of, planned_works_of, plans_of_rows, plans_under_way, works_of
from monitoring.services import (
    PlannedFor,
    WorkDone,
    WorkPlanned,
    as_planned,
    end_plan,
    leave_out,
    plan_work,
    record_work,
    take_back_work,
)
from tests.cast import NOW, acting, as_factory, as_role
from tests.monitoring.sending import STAFF, TODAY, chain_holds

DAY, WEEK = timedelta(days=1), timedelta(weeks=1)
WEEKLY = {"every": 1, "unit": "week", "last_day": TODAY + 4 * WEEK}


def planned(farm: Farm, kind: str = "clean_out", first_day: date = TODAY, now: Any = NOW, **more: Any) -> PlannedWork:
    return plan_work(farm=farm, plan=WorkPlanned(kind, first_day, **more), actor=STAFF, now=now)


def do(farm: Farm, plan: PlannedWork, day: date, done_on: date | None = None, actor: Actor = STAFF) -> Work:
    done_on = done_on or day
    now = NOW + (done_on - TODAY)
    return record_work(farm=farm, work=as_planned(plan, day, done_on), actor=actor, now=now)


def plans(farm: Farm) -> list[Any]:
    return plans_of_rows(planned_works_of(farm))


@pytest.mark.django_db
class TestPlanning:
    def test_what_is_planned_stands_in_the_chain_and_its_words_apart(self, northfield, anna, calf_barn):
        with acting(anna):
            row = planned(northfield, facility=calf_barn, words="behind the hutches, ask Pia", **WEEKLY)
            assert planned_works_of(northfield).get().words == "behind the hutches, ask Pia"
        assert chain_holds(northfield)
        # Erased with their salt: that it was planned stays, and the chain holds.
        with as_role("eraser"):
            erase_on_farm(northfield.id, using="default")
            assert erase_rows(list(WorkWords.objects.filter(about_id=row.id)), now=NOW) == 1
        assert chain_holds(northfield)
        with acting(anna):
            assert planned_works_of(northfield).get().words is None

    @pytest.mark.parametrize(
        ("wrong", "pointer", "says"),
        [
            ({"kind": "treatment"}, "/kind", "no such kind of work"),
            ({"first_day": TODAY - DAY}, "/first_day", "this day has passed"),
            ({"first_day": TODAY + 401 * DAY}, "/first_day", "more than 400 days ahead"),
            ({"every": 1, "unit": "week"}, "/last_day", "needs a last day"),
            ({"last_day": TODAY + DAY}, "/last_day", "Say how often, or leave it empty"),
            ({"every": 0, "unit": "week", "last_day": TODAY}, "/every", "at least 1"),
            ({"every": 1, "unit": "year", "last_day": TODAY}, "/every", "days, weeks or months"),
            ({"unit": "week", "last_day": TODAY}, "/every", "Say how often"),
            ({"every": 1, "unit": "day", "last_day": TODAY - DAY}, "/last_day", "before the first"),
            ({"every": 7, "unit": "day", "last_day": TODAY + 401 * DAY}, "/last_day", "more than 400 days after"),
            ({"every": 1, "unit": "day", "last_day": TODAY + 200 * DAY}, "/last_day", "more than 200 times"),
            ({"every": 2, "unit": "month", "last_day": TODAY + 30 * DAY}, "/last_day", "only once"),
            ({"every": 2**31 - 1, "unit": "day", "last_day": TODAY + DAY}, "/last_day", "only once"),
            ({"words": "x" * 201}, "/words", "longer than 200"),
            ({"words": "a\x00b"}, "/words", "no text"),
            ({"species": "Spalangia"}, "/species", "Only parasitic wasps"),
            ({"kind": "wasps", "number": 0}, "/number", "No wasps"),
        ],
    )
    def test_what_cant_be_right_is_refused_with_a_sentence(self, northfield, anna, wrong, pointer, says):
        with acting(anna):
            with pytest.raises(PlannedWorkRefused) as refused:
                planned(northfield, **wrong)
            assert [each.pointer for each in refused.value.errors] == [pointer]
            assert says in refused.value.errors[0].detail
            assert not PlannedWork.objects.exists() and not WorkWords.objects.exists()

    def test_two_hundred_times_and_400_days_are_taken(self, northfield, anna):
        with acting(anna):
            planned(northfield, every=1, unit="day", last_day=TODAY + 199 * DAY)
            planned(northfield, every=10, unit="day", last_day=TODAY + 400 * DAY)

    def test_a_repetition_without_an_end_is_refused_by_the_database_too(self, northfield):
        with as_factory(), pytest.raises(IntegrityError, match="plan_that_repeats_has_an_end"), transaction.atomic():
            PlannedWork.objects.create(
                farm=northfield, kind="fans", first_day=TODAY, every=1, unit="week", actor_kind="farm_staff",
                recorded_at=NOW, entry=0,
            )  # fmt: skip

    def test_an_application_can_be_planned_and_isnt_done_by_noting_work(self, northfield, anna):
        with acting(anna):
            row = planned(northfield, "application", use_kind="bait")
            with pytest.raises(WorkRefused) as refused:
                do(northfield, row, TODAY)
            assert refused.value.errors[0].pointer == "/kind"

    def test_row_security_shows_it_to_the_farms_own_and_nobody_changes_it(
        self, northfield, anna, ben, carla, southmead, erik
    ):
        with acting(anna):
            row = planned(northfield, words="north wall", **WEEKLY)
            leave_out(planned=row, day=TODAY, why="rain", actor=STAFF, now=NOW)
        for who, seen in ((anna, 1), (ben, 1), (carla, 0), (erik, 0)):
            with acting(who):
                assert [model.objects.count() for model in (PlannedWork, PlannedStep)] == [seen, seen]
                assert WorkWords.objects.count() == 2 * seen
        with acting(carla), pytest.raises(Missing):
            leave_out(planned=row, day=TODAY + WEEK, why="rain", actor=STAFF, now=NOW)
        with as_role("worker"):
            assert PlannedWork.objects.count() == 1
            with pytest.raises(ProgrammingError, match="permission denied"), transaction.atomic():
                WorkWords.objects.count()


class TestDue:
    """A weekly plan from today on; days that came, what became of them, the day seen from, and what is due."""

    DAYS = tuple(TODAY + number * WEEK for number in range(3))

    @pytest.mark.parametrize(
        ("settled", "seen_from", "due"),
        [
            ((), TODAY - DAY, None),
            ((), TODAY, TODAY),
            ((), TODAY + 6 * DAY, TODAY),
            ((), TODAY + WEEK, TODAY + WEEK),  # the first one isn't due any more
            ((TODAY,), TODAY + DAY, None),
            ((TODAY + WEEK,), TODAY + WEEK, None),
            ((), TODAY + 2 * WEEK + 56 * DAY, TODAY + 2 * WEEK),
            ((), TODAY + 2 * WEEK + 57 * DAY, None),
        ],
    )
    def test_the_newest_day_that_came_is_due_until_something_became_of_it(self, settled, seen_from, due):
        assert due_on(self.DAYS, settled, seen_from) == due


@pytest.mark.django_db
class TestDoing:
    def test_done_is_a_work_that_names_the_plan_and_its_day(self, northfield, anna, calf_barn):
        with acting(anna):
            row = planned(northfield, "wasps", facility=calf_barn, species="Muscidifurax", number=5000, **WEEKLY)
            work = do(northfield, row, TODAY)
            assert (work.planned_id, work.planned_for, work.attempt) == (row.id, TODAY, 0)
            assert (work.species, work.number, work.facility_id) == ("Muscidifurax", 5000, calf_barn.id)
            states = [each.state for each in plans(northfield)[0].told(TODAY + WEEK)]
            assert states == ["done", "due", "ahead", "ahead", "ahead"]
        assert chain_holds(northfield)

    def test_the_second_to_note_it_is_told_who_did(self, northfield, anna):
        with acting(anna):
            row = planned(northfield)
            first = do(northfield, row, TODAY, TODAY + DAY)
            with pytest.raises(PlannedDayDone, match="June 2, 2026, by somebody of the farm") as told:
                do(northfield, row, TODAY, TODAY + DAY)
            assert told.value.details["work"] == first.id
            assert works_of(northfield).count() == 1

    @pytest.mark.parametrize(
        ("work", "pointer"),
        [
            ({"kind": "fans"}, "/planned_id"),
            ({"stands_for": TODAY + DAY}, "/planned_for"),
            ({"stands_for": TODAY + 2 * WEEK}, "/planned_for"),
        ],
    )
    def test_it_stands_for_a_day_of_the_plan_not_long_ahead_and_is_what_was_planned(
        self, northfield, anna, work, pointer
    ):
        with acting(anna):
            row = planned(northfield, **WEEKLY)
            stands_for = PlannedFor(row, work.get("stands_for", TODAY))
            done = WorkDone(work.get("kind", "clean_out"), TODAY, stands_for=stands_for)
            with pytest.raises(WorkRefused) as refused:
                record_work(farm=northfield, work=done, actor=STAFF, now=NOW)
            assert refused.value.errors[0].pointer == pointer

    def test_what_was_taken_back_is_to_be_done_again(self, northfield, anna):
        with acting(anna):
            row = planned(northfield)
            wrong = do(northfield, row, TODAY)
            take_back_work(work=wrong, why="tapped the wrong one", actor=STAFF, now=NOW)
            assert [each.day for each in due_of(plans(northfield), TODAY)] == [TODAY]
            assert do(northfield, row, TODAY).attempt == 1
            assert due_of(plans(northfield), TODAY) == []
        assert chain_holds(northfield)


@pytest.mark.django_db
class TestSteps:
    def test_a_day_left_out_is_not_due_and_may_still_be_done(self, northfield, anna):
        with acting(anna):
            row = planned(northfield, **WEEKLY)
            leave_out(planned=row, day=TODAY, why="the loader is broken", actor=STAFF, now=NOW)
            assert due_of(plans(northfield), TODAY) == []
            with pytest.raises(AlreadyLeftOut):
                leave_out(planned=row, day=TODAY, why="again", actor=STAFF, now=NOW)
            do(northfield, row, TODAY)
            with pytest.raises(PlannedDayDone):
                leave_out(planned=row, day=TODAY, why="again", actor=STAFF, now=NOW)
            assert plans(northfield)[0].told(TODAY)[0].state == "done"
        assert chain_holds(northfield)

    def test_from_the_day_on_which_it_ends_nothing_is_due(self, northfield, anna):
        with acting(anna):
            row = planned(northfield, **WEEKLY)
            end_plan(planned=row, day=TODAY + WEEK, why="sold the heifers", actor=STAFF, now=NOW)
            (plan,) = plans(northfield)
            assert [each.state for each in plan.told(TODAY)] == ["due", "ended", "ended", "ended", "ended"]
            assert not plan.is_over(TODAY) and plan.ahead(TODAY, TODAY + 9 * WEEK) == []
            with pytest.raises(PlanEnded):
                end_plan(planned=row, day=TODAY, why="again", actor=STAFF, now=NOW)
            with pytest.raises(PlanEnded):
                leave_out(planned=row, day=TODAY + WEEK, why="again", actor=STAFF, now=NOW)
        assert chain_holds(northfield)

    @pytest.mark.parametrize(
        ("step", "day", "why", "pointer"),
        [
            (leave_out, TODAY + DAY, "rain", "/day"),
            (leave_out, TODAY, "  ", "/why"),
            (leave_out, TODAY, "x" * 201, "/why"),
            (end_plan, TODAY - DAY, "rain", "/day"),
            (end_plan, TODAY + 5 * WEEK, "rain", "/day"),
            (end_plan, TODAY, "", "/why"),
        ],
    )
    def test_a_step_that_cant_be_is_refused(self, northfield, anna, step, day, why, pointer):
        with acting(anna):
            row = planned(northfield, **WEEKLY)
            with pytest.raises(PlannedStepRefused) as refused:
                step(planned=row, day=day, why=why, actor=STAFF, now=NOW)
            assert refused.value.errors[0].pointer == pointer
            assert not PlannedStep.objects.exists()

    def test_how_much_is_asked_does_not_grow_with_the_plans(self, northfield, anna, django_assert_num_queries):
        with acting(anna):
            for kind in ("fans", "screens", "clean_out"):
                leave_out(planned=planned(northfield, kind, **WEEKLY), day=TODAY, why="rain", actor=STAFF, now=NOW)
            with django_assert_num_queries(3):
                found = plans_under_way([northfield.id], TODAY)
        assert len(found[northfield.id]) == 3


@pytest.mark.django_db(transaction=True, databases="__all__")
def test_of_two_who_tap_done_at_once_one_is_noted_and_the_other_told(northfield, anna):
    with acting(anna):
        row = planned(northfield)
    at_once, told = Barrier(2), []

    def tap() -> None:
        try:
            with acting(anna):
                at_once.wait(timeout=20)
                told.append(do(northfield, row, TODAY))
        except PlannedDayDone as error:
            told.append(error)
        finally:
            connections.close_all()

    threads = [Thread(target=tap) for _each in range(2)]
    for each in threads:
        each.start()
    for each in threads:
        each.join(timeout=60)
    assert sorted(type(each).__name__ for each in told) == ["PlannedDayDone", "Work"]
    with acting(anna):
        assert works_of(northfield).count() == 1
