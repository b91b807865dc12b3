"""The demo's planned work can be planned as the scenario says, and one of it is overdue when the demo begins."""

from datetime import timedelta

import pytest

from monitoring.rules.planned_work import days_of, due_on, plan_faults
from server.demo import scenario
from server.demo.planned import PLANS


@pytest.mark.parametrize("name", PLANS)
def test_its_plans_are_of_a_farm_of_the_scenario_and_can_be_made(name):
    assert name in {dairy.name for dairy in scenario.dairies()}
    for planned in PLANS[name]:
        assert plan_faults(planned.plan, scenario.FIRST_HUNG) == []
        assert {*planned.not_done, *dict(planned.left_out)} <= set(days_of(planned.plan))


def test_one_is_overdue_and_one_comes_within_the_week():
    every = [planned for plans in PLANS.values() for planned in plans]
    overdue, coming = [], []
    for planned in every:
        days = days_of(planned.plan)
        done = {day for day in days if day < scenario.TODAY and day not in planned.not_done}
        overdue.append(due_on(days, done, scenario.TODAY))
        coming += [day for day in days if scenario.TODAY < day <= scenario.TODAY + timedelta(days=7)]
    assert len([day for day in overdue if day is not None]) == 1 and len(coming) >= 2
