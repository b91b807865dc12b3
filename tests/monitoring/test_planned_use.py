"""A spray, pour-on or bait that is planned: asked about first, off on an organic farm, done by its record."""

from datetime import date, timedelta

import pytest

from monitoring.errors import ApplicationRefused, AskedFirst, PlannedDayApplied, PlannedDayDone, PlannedWorkRefused
from monitoring.selectors import plans_of_rows
from monitoring.selectors.planned_work import planned_works_of
from monitoring.services import (
    CertifierTyped,
    MendedApplication,
    PlannedFor,
    WorkDone,
    WorkPlanned,
    Writer,
    check_application,
    leave_out,
    list_product,
    mark_organic,
    note_certifier_answer,
    plan_work,
    record_work,
)
from tests.cast import NOW, acting
from tests.monitoring.applying import LABEL, applied, note
from tests.monitoring.sending import STAFF, TODAY, chain_holds

pytestmark = pytest.mark.django_db
WEEK = timedelta(weeks=1)


def planned(farm, **more):
    plan = WorkPlanned(**{"kind": "application", "first_day": TODAY, "use_kind": "residual", **more})
    return plan_work(farm=farm, plan=plan, actor=STAFF, now=NOW)


def refused(farm, **more):
    with pytest.raises(PlannedWorkRefused) as caught:
        planned(farm, **more)
    return {each.pointer: each.code for each in caught.value.errors}


class TestPlanning:
    def test_a_residual_spray_where_wasps_were_released_asks_first(self, northfield, calf_barn, dry_lot, anna):
        with acting(anna):
            record_work(farm=northfield, work=WorkDone("wasps", TODAY - WEEK, calf_barn), actor=STAFF, now=NOW)
            with pytest.raises(AskedFirst, match="Parasitic wasps were released there") as first:
                planned(northfield, facility=calf_barn)
            assert first.value.details["warnings"] == ["wasps_there"]
            assert not planned_works_of(northfield).exists()
            planned(northfield, facility=calf_barn, thought_of=True)
            planned(northfield, facility=dry_lot)
            planned(northfield, facility=calf_barn, use_kind="bait")
            assert chain_holds(northfield)

    def test_wasps_that_are_planned_count_too_and_so_does_a_later_day_of_the_plan(self, northfield, calf_barn, anna):
        with acting(anna):
            plan_work(farm=northfield, plan=WorkPlanned("wasps", TODAY + WEEK, calf_barn), actor=STAFF, now=NOW)
            planned(northfield, facility=calf_barn)
            with pytest.raises(AskedFirst):
                planned(northfield, facility=calf_barn, every=2, unit="week", last_day=TODAY + 4 * WEEK)

    def test_what_was_used_later_on_the_same_day_is_asked_about_too(self, northfield, group, erik, anna):
        # 18:00 at Northfield is an hour before midnight in UTC.
        evening = NOW + timedelta(hours=11)
        product = list_product(group=group, label=LABEL, by=erik, now=NOW)
        plan = WorkPlanned("application", TODAY, product=product)
        with acting(anna):
            note(northfield, applied(begins_at=evening, ends_at=evening), now=evening)
            with pytest.raises(AskedFirst, match="same IRAC group"):
                plan_work(farm=northfield, plan=plan, actor=STAFF, now=evening)

    def test_the_same_group_again_is_asked_about(self, northfield, group, erik, anna):
        product = list_product(group=group, label=LABEL, by=erik, now=NOW)
        with acting(anna):
            note(northfield)
            with pytest.raises(AskedFirst, match="same IRAC group"):
                planned(northfield, use_kind="", product=product)
            # Nobody said of which group it is.
            planned(northfield)

    def test_what_it_is_for_has_to_be_said_and_only_of_a_spray(self, northfield, anna):
        with acting(anna):
            assert refused(northfield, use_kind="") == {"/use_kind": "use_kind_unknown"}
            assert refused(northfield, kind="clean_out") == {"/use_kind": "no_application"}

    def test_on_an_organic_farm_it_waits_for_the_certifiers_yes(self, northfield, group, erik, anna):
        product = list_product(group=group, label=LABEL, by=erik, now=NOW)
        day = date(2026, 5, 20)
        with acting(anna):
            mark_organic(farm=northfield, is_organic=True, from_on=day, actor=STAFF, now=NOW)
            assert refused(northfield) == {"/product_id": "product_missing"}
            assert refused(northfield, product=product) == {"/product_id": "certifier_not_asked"}
            for said in ("not_allowed", "on_conditions"):
                if said == "on_conditions":
                    assert refused(northfield, product=product) == {"/product_id": "certifier_not_asked"}
                typed = CertifierTyped(LABEL.name, LABEL.registration_number, day, day, said)
                note_certifier_answer(farm=northfield, typed=typed, actor=STAFF, now=NOW)
            planned(northfield, product=product)


class TestDoing:
    def test_a_planned_day_is_done_by_the_record_and_once(self, northfield, calf_barn, anna):
        with acting(anna):
            plan = planned(northfield, facility=calf_barn)
            stands_for = PlannedFor(plan, TODAY)
            row = note(northfield, applied(facility=calf_barn, stands_for=stands_for))
            [found] = plans_of_rows(planned_works_of(northfield))
            [day] = found.told(TODAY)
            assert (day.state, day.application.id, day.work) == ("done", row.id, None)
            assert found.due(TODAY) is None
            with pytest.raises(PlannedDayApplied):
                note(northfield, applied(facility=calf_barn, stands_for=stands_for))
            mended = note(northfield, applied(facility=calf_barn), mending=MendedApplication(row, "wrong amount"))
            [found] = plans_of_rows(planned_works_of(northfield))
            assert found.applied[TODAY].id == mended.id
            assert chain_holds(northfield)

    def test_a_day_on_which_it_was_applied_cant_be_left_out(self, northfield, calf_barn, anna):
        with acting(anna):
            plan = planned(northfield, facility=calf_barn)
            row = note(northfield, applied(facility=calf_barn, stands_for=PlannedFor(plan, TODAY)))
            with pytest.raises(PlannedDayDone, match="as done on June 1, 2026, by somebody of the farm") as told:
                leave_out(planned=plan, day=TODAY, why="rain", actor=STAFF, now=NOW)
            assert told.value.details["application"] == row.id

    def test_a_record_that_the_farm_says_is_not_so_does_nothing(self, northfield, anna):
        with acting(anna):
            plan = planned(northfield)
            by = Writer(STAFF, through_link=True)
            row = note(northfield, applied(stands_for=PlannedFor(plan, TODAY)), by=by)
            check_application(application=row, confirmed=False, reason="another farm", actor=STAFF, now=NOW)
            [found] = plans_of_rows(planned_works_of(northfield))
            assert found.due(TODAY) is not None

    @pytest.mark.parametrize(("day", "code"), [(TODAY + WEEK, "not_planned"), (TODAY + 4 * WEEK, "too_early")])
    def test_another_day_is_refused(self, northfield, anna, day, code):
        with acting(anna):
            plan = planned(northfield, every=2, unit="week", last_day=TODAY + 4 * WEEK)
            with pytest.raises(ApplicationRefused) as caught:
                note(northfield, applied(stands_for=PlannedFor(plan, day)))
            assert [each.code for each in caught.value.errors] == [code]

    def test_a_plan_of_other_work_is_none_of_a_spray(self, northfield, anna):
        with acting(anna):
            plan = plan_work(farm=northfield, plan=WorkPlanned("clean_out", TODAY), actor=STAFF, now=NOW)
            with pytest.raises(ApplicationRefused) as caught:
                note(northfield, applied(stands_for=PlannedFor(plan, TODAY)))
            assert [each.code for each in caught.value.errors] == ["other_than_planned"]
