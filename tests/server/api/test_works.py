"""What was done, and the figures week by week."""

import pytest

from farms.ids import uuid7
from farms.models import Facility, Farm
from monitoring.models import Station
from tests.server.api.bodies import card_reading, round_body
from tests.server.api.senders import Sender
from tests.server.api.test_problems import assert_problem

pytestmark = pytest.mark.django_db


def test_a_clean_out_is_noted_and_listed(program: Sender, northfield: Farm, calf_barn: Facility):
    path = f"/api/v1/farms/{northfield.id}/works"
    work = {"kind": "clean_out", "done_on": "2026-05-20", "facility_id": str(calf_barn.id), "thorough": True}
    made = program.post(path, work)
    assert (made.status_code, made.json()["actor_kind"]) == (201, "program")
    program.post(path, {"kind": "fans", "done_on": "2026-05-28"})
    assert [row["kind"] for row in program.get(path).json()["results"]] == ["fans", "clean_out"]
    assert [row["kind"] for row in program.get(f"{path}?since=2026-05-21").json()["results"]] == ["fans"]


def test_work_of_tomorrow_and_of_nowhere(program: Sender, northfield: Farm, southmead: Farm):
    path = f"/api/v1/farms/{northfield.id}/works"
    problem = assert_problem(program.post(path, {"kind": "fans", "done_on": "2026-06-02"}), 422, "work_refused")
    assert problem["errors"][0]["pointer"] == "/done_on"
    elsewhere = {"kind": "fans", "done_on": "2026-05-20", "facility_id": str(southmead.id)}
    assert_problem(program.post(path, elsewhere), 422, "facility_unknown")


def test_spraying_is_not_among_the_kinds(program: Sender, northfield: Farm):
    response = program.post(f"/api/v1/farms/{northfield.id}/works", {"kind": "spray", "done_on": "2026-05-20"})
    assert_problem(response, 422, "invalid")


def test_weeks_hold_what_was_counted_and_what_is_missing(program: Sender, northfield: Farm, cards: list[Station]):
    readings = [
        card_reading(cards[0], count=120),
        card_reading(cards[1], count=100),
        card_reading(cards[2], reason="lost"),
    ]
    program.put(f"/api/v1/farms/{northfield.id}/rounds/{uuid7()}", round_body(readings))
    (week,) = program.get(f"/api/v1/farms/{northfield.id}/weeks?method=card").json()["results"]
    # Hung on May 25, taken down on June 1: the middle day is May 28, in the week of May 25.
    assert (week["week"], week["mean"], week["counted"], week["missing"]) == ("2026-05-25", 110.0, 220, 1)
    assert program.get(f"/api/v1/farms/{northfield.id}/weeks?method=trap").json()["results"] == []
