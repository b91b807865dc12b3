"""Planned work by the API: planned, done once, left out, ended; and a work taken back."""

from typing import Any

import pytest

from farms.ids import uuid7
from farms.models import Facility, Farm
from monitoring.models import PlannedWork, WorkWords
from tests.cast import as_factory
from tests.server.api.senders import Sender
from tests.server.api.test_problems import assert_problem

pytestmark = pytest.mark.django_db
WEEKLY = {"kind": "clean_out", "first_day": "2026-06-01", "every": 1, "unit": "week", "last_day": "2026-06-22"}


def path_of(farm: Farm, *more: str) -> str:
    return "/".join([f"/api/v1/farms/{farm.id}", *more])


def plan(program: Sender, farm: Farm, **more: Any) -> dict[str, Any]:
    made = program.post(path_of(farm, "planned-works"), WEEKLY | more)
    assert made.status_code == 201, made.content
    return made.json()


def done(made: dict[str, Any], day: str, **more: Any) -> dict[str, Any]:
    return {"kind": made["kind"], "facility_id": made["facility_id"], "done_on": "2026-06-01",
            "planned_id": made["id"], "planned_for": day, **more}  # fmt: skip


def test_a_plan_tells_each_day_and_what_became_of_it(program: Sender, northfield: Farm, calf_barn: Facility):
    made = plan(program, northfield, facility_id=str(calf_barn.id), words="behind the hutches")
    assert (made["words"], made["unit"], made["steps"]) == ("behind the hutches", "week", [])
    assert [each["state"] for each in made["days"]] == ["due", "ahead", "ahead", "ahead"]
    work = program.post(path_of(northfield, "works"), done(made, "2026-06-01", thorough=True)).json()
    step = {"day": "2026-06-08", "why": "rain"}
    left = program.post(path_of(northfield, "planned-works", made["id"], "left-out"), step).json()
    assert [(each["kind"], each["day"], each["why"]) for each in left["steps"]] == [("left_out", "2026-06-08", "rain")]
    ended = program.post(path_of(northfield, "planned-works", made["id"], "end"), {"day": "2026-06-22", "why": "moved"})
    assert ended.status_code == 201
    (told,) = program.get(path_of(northfield, "planned-works")).json()["results"]
    assert [each["state"] for each in told["days"]] == ["done", "left_out", "ahead", "ended"]
    assert told["days"][0]["work_id"] == work["id"] and told["days"][1]["work_id"] is None
    with as_factory():
        WorkWords.objects.all().delete()
    (told,) = program.get(path_of(northfield, "planned-works")).json()["results"]
    assert told["words"] is None and [each["why"] for each in told["steps"]] == [None, None]


def test_whoever_is_second_is_told_and_what_was_taken_back_can_be_done_again(program: Sender, northfield: Farm):
    made = plan(program, northfield)
    works = path_of(northfield, "works")
    first = program.post(works, done(made, "2026-06-01")).json()
    problem = assert_problem(program.post(works, done(made, "2026-06-01")), 409, "planned_day_done")
    assert "by a program. It stands once." in problem["detail"]
    taken = program.post(path_of(northfield, "works", first["id"], "taken-back"), {"why": "the wrong barn"})
    assert (taken.status_code, taken.json()["taken_back"], taken.json()["reason"]) == (201, True, "")
    again = path_of(northfield, "works", first["id"], "taken-back")
    assert_problem(program.post(again, {"why": "twice"}), 409, "already_taken_back")
    assert program.post(works, done(made, "2026-06-01")).status_code == 201
    marked = [row["taken_back"] for row in program.get(works).json()["results"]]
    assert sorted(marked) == [False, True]


@pytest.mark.parametrize(
    ("wrong", "pointer"),
    [
        ({"last_day": None}, "/last_day"),
        ({"every": 0}, "/every"),
        ({"unit": "year"}, "/unit"),
        ({"first_day": "2026-05-31"}, "/first_day"),
        ({"words": "x" * 201}, "/words"),
        ({"species": "Spalangia"}, "/species"),
        ({"number": 2**40}, "/number"),
        ({"kind": "spraying"}, "/kind"),
    ],
)
def test_what_cant_be_right_is_named_and_nothing_is_stored(program: Sender, northfield: Farm, wrong, pointer):
    answer = program.post(path_of(northfield, "planned-works"), WEEKLY | wrong)
    assert answer.status_code == 422
    assert [each["pointer"] for each in answer.json()["errors"]] == [pointer]
    with as_factory():
        assert not PlannedWork.objects.exists()


def test_a_plan_and_its_day_come_together_and_are_the_farms_own(
    program: Sender, northfield: Farm, southmead: Farm
):  # fmt: skip
    made = plan(program, northfield)
    works = path_of(northfield, "works")
    alone = {"kind": "clean_out", "done_on": "2026-06-01", "planned_id": made["id"]}
    assert_problem(program.post(works, alone), 422, "planned_for_missing")
    assert program.post(works, done(made, "2026-06-01") | {"planned_id": str(uuid7())}).status_code == 404
    assert_problem(program.post(works, done(made, "2026-06-02")), 422, "work_refused")
    assert program.post(path_of(southmead, "planned-works"), WEEKLY).status_code == 404
