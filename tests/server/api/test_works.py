"""What was done, and the figures week by week."""

import pytest

from farms.ids import uuid7
from farms.models import Facility, Farm
from monitoring.models import Station
from tests.alerts.scene import count_week, monday
from tests.cast import make_facility, make_stations
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


def test_a_work_says_what_became_of_the_counts(
    program: Sender, northfield: Farm, cards: list[Station], calf_barn: Facility
):
    heifers = make_facility(northfield, "Heifer barn", "heifer_barn", 4)
    others = make_stations(heifers, "card", range(6, 11))
    for number, weather in enumerate((1.0, 1.2, 0.9, 1.1, 1.0, 1.3, 0.8)):
        left = 1.0 if number < 3 else 0.5
        count_week(cards, monday(number), [round(weather * left * each) for each in (80, 96, 70, 110, 90)])
        count_week(others, monday(number), [round(weather * each) for each in (60, 66, 58, 40, 75)])
    path = f"/api/v1/farms/{northfield.id}/works"
    cleaned = {"kind": "clean_out", "done_on": str(monday(3)), "facility_id": str(calf_barn.id)}
    assert program.post(path, cleaned).json()["reason"] == ""
    made = program.post(path, {"kind": "fans", "done_on": str(monday(7))}).json()
    assert (made["effect"], made["compared_with"], made["reason"]) == (None, [], "too_early")
    row = program.get(path).json()["results"][1]
    assert (row["method"], row["compared_with"], row["reason"], row["weather"]) == ("card", [str(heifers.id)], "", "")
    assert row["effect"] == pytest.approx(-50, abs=2)
    assert -100 < row["low"] < row["effect"] < row["high"] < 0


def test_work_of_tomorrow_and_of_nowhere(program: Sender, northfield: Farm, southmead: Farm):
    path = f"/api/v1/farms/{northfield.id}/works"
    problem = assert_problem(program.post(path, {"kind": "fans", "done_on": "2026-06-02"}), 422, "work_refused")
    assert problem["errors"][0]["pointer"] == "/done_on"
    elsewhere = {"kind": "fans", "done_on": "2026-05-20", "facility_id": str(southmead.id)}
    assert_problem(program.post(path, elsewhere), 422, "facility_unknown")


def test_a_year_that_was_cut_is_named(program: Sender, northfield: Farm):
    sent = {"kind": "fans", "done_on": "0026-05-30"}
    told = program.post(f"/api/v1/farms/{northfield.id}/works", sent, format="json")
    assert told.status_code == 422
    assert [(each["pointer"], each["detail"][:27]) for each in told.json()["errors"]] == [
        ("/done_on", "This year can't be meant. W")
    ]


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
