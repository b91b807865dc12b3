"""Sending rounds: as often as the network asks for, stored once; and what comes back."""

from datetime import timedelta
from typing import Any
from uuid import uuid4

import pytest

from farms.ids import uuid7
from farms.ledger import row_values
from farms.models import Farm, User
from farms.services import add_person
from monitoring.models import Reading, Round, Station
from tests.cast import NOW, acting, as_factory
from tests.server.api.bodies import TODAY, card_reading, everything_stored, round_body
from tests.server.api.senders import Sender, session_of
from tests.server.api.test_problems import assert_problem

pytestmark = pytest.mark.django_db


def put(sender: Sender, farm: Farm, body: dict[str, Any], round_id: Any = None) -> Any:
    return sender.put(f"/api/v1/farms/{farm.id}/rounds/{round_id or uuid7()}", body)


def test_a_program_sends_a_round_and_gets_its_result(program: Sender, northfield: Farm, cards: list[Station]):
    readings = [
        card_reading(cards[0], count=120),
        card_reading(cards[1], count=100),
        card_reading(cards[2], reason="lost"),
    ]
    response = put(program, northfield, round_body(readings))
    assert response.status_code == 201, response.content
    answer = response.json()
    assert (answer["source"], answer["actor_kind"], len(answer["readings"])) == ("program", "program", 3)
    (calf_barn,) = answer["result"]
    assert (calf_barn["mean"], calf_barn["devices"], calf_barn["missing"]) == (110.0, 2, 1)
    assert (calf_barn["level"], calf_barn["word"]) == (100.0, "over")
    lost = next(row for row in answer["readings"] if row["reason"] == "lost")
    assert lost["count"] is None


def test_a_round_sent_five_times_is_stored_once(program: Sender, northfield: Farm, cards: list[Station]):
    body, round_id = round_body([card_reading(card) for card in cards]), uuid7()
    first = put(program, northfield, body, round_id)
    stored = everything_stored(northfield)
    again = [put(program, northfield, body, round_id) for _ in range(4)]
    assert [first.status_code, *(response.status_code for response in again)] == [201, 200, 200, 200, 200]
    assert {response.content for response in again} == {first.content}
    assert everything_stored(northfield) == stored


def test_a_round_half_done_is_finished_later(program: Sender, northfield: Farm, cards: list[Station]):
    half, rest, round_id = [card_reading(cards[0])], [card_reading(cards[1])], uuid7()
    put(program, northfield, round_body(half), round_id)
    whole = put(program, northfield, round_body(half + rest), round_id)
    assert whole.status_code == 200
    assert len(whole.json()["readings"]) == 2


def test_a_known_reading_with_another_count_is_refused_as_a_whole(
    program: Sender, northfield: Farm, cards: list[Station]
):
    known, round_id = card_reading(cards[0]), uuid7()
    put(program, northfield, round_body([known]), round_id)
    stored = everything_stored(northfield)
    response = put(program, northfield, round_body([card_reading(cards[1]), {**known, "count": 41}]), round_id)
    problem = assert_problem(response, 422, "reading_differs")
    assert [error["pointer"] for error in problem["errors"]] == ["/readings/1"]
    assert everything_stored(northfield) == stored


def test_a_second_person_with_another_count_gets_the_first_one_to_settle(
    program: Sender, ben: User, northfield: Farm, cards: list[Station]
):
    put(program, northfield, round_body([card_reading(cards[0], count=40)]))
    stored = everything_stored(northfield)
    response = put(session_of(ben), northfield, round_body([card_reading(cards[0], count=44)]))
    problem = assert_problem(response, 409, "already_read")
    assert (problem["details"]["reading"]["count"], problem["errors"][0]["pointer"]) == (40, "/readings/0")
    assert everything_stored(northfield) == stored


def test_a_second_person_with_the_same_count_is_answered(
    program: Sender, ben: User, northfield: Farm, cards: list[Station]
):
    put(program, northfield, round_body([card_reading(cards[0], count=40)]))
    assert put(session_of(ben), northfield, round_body([card_reading(cards[0], count=40)])).status_code in (200, 201)
    with as_factory():
        assert Reading.objects.filter(station_id=cards[0].id).count() == 1


def test_a_leg_count_carries_its_animals(program: Sender, northfield: Farm, leg_station: Station):
    legs = {"id": str(uuid7()), "station_id": str(leg_station.id), "animals": [8, 12, 10], "pen": "East"}
    answer = put(program, northfield, round_body([{**legs, "time_of_day": "10:30", "sprayed": False}])).json()
    assert (answer["readings"][0]["count"], answer["readings"][0]["animals"]) == (30, [8, 12, 10])
    assert (answer["result"][0]["mean"], answer["result"][0]["word"]) == (10.0, "over")


def test_fresh_cards_and_notes_come_with_a_round(program: Sender, northfield: Farm, cards: list[Station]):
    hung = [{"id": str(uuid7()), "station_id": str(card.id), "hung_on": str(TODAY)} for card in cards]
    notes = [{"id": str(uuid7()), "text": "Gate is broken."}]
    assert put(program, northfield, round_body(hung=hung, notes=notes)).status_code == 201
    sheet = program.get(f"/api/v1/farms/{northfield.id}/round-sheet?on=2026-06-08").json()["results"]
    assert [place["hangings"][0]["days"] for place in sheet if place["station"]["method"] == "card"] == [7] * 5


def test_who_counted_and_who_typed_are_the_farms_own_people(anna: User, northfield: Farm, cards: list[Station]):
    with acting(anna):
        person = add_person(farm=northfield, name="Rosalind Quist", initials="RQ", now=NOW)
    by = {"counted_by_id": str(person.id), "typed_by_id": str(person.id), "typed_on": str(TODAY)}
    answer = put(session_of(anna), northfield, round_body([card_reading(cards[0])], **by)).json()
    assert (answer["source"], answer["counted_by_id"], answer["typed_by_id"]) == (
        "paper",
        str(person.id),
        str(person.id),
    )
    unknown = round_body([card_reading(cards[1])], counted_by_id=str(uuid4()))
    problem = assert_problem(put(session_of(anna), northfield, unknown), 422, "reading_refused")
    assert problem["errors"][0]["pointer"] == "/counted_by_id"


def test_the_same_round_id_on_another_farm_is_another_round(
    program: Sender, carla: User, northfield: Farm, southmead: Farm
):
    round_id = uuid7()
    assert put(program, northfield, round_body(), round_id).status_code == 201
    assert put(session_of(carla), southmead, round_body(), round_id).status_code == 201
    with as_factory():
        assert Round.objects.filter(id=round_id).count() == 2


def test_rounds_are_listed_newest_first_and_read_one_by_one(program: Sender, northfield: Farm, cards: list[Station]):
    for day in ("2026-05-18", "2026-05-25", "2026-06-01"):
        put(program, northfield, {"walked_on": day})
    listed = program.get(f"/api/v1/farms/{northfield.id}/rounds?since=2026-05-20&limit=1").json()
    assert [row["walked_on"] for row in listed["results"]] == ["2026-06-01"]
    following = program.get(listed["next"]).json()
    assert [row["walked_on"] for row in following["results"]] == ["2026-05-25"]
    assert following["next"] is None
    one = program.get(f"/api/v1/farms/{northfield.id}/rounds/{following['results'][0]['id']}")
    assert one.json()["walked_on"] == "2026-05-25"


def test_a_round_is_skipped_ahead(program: Sender, northfield: Farm):
    skip = {"skipped_on": "2026-06-08", "next_round_on": "2026-06-15"}
    assert program.post(f"/api/v1/farms/{northfield.id}/skips", skip).status_code == 201
    early = program.post(f"/api/v1/farms/{northfield.id}/skips", {**skip, "next_round_on": "2026-06-08"})
    problem = assert_problem(early, 422, "skip_refused")
    assert problem["errors"][0]["pointer"] == "/next_round_on"


def test_a_phone_sends_rounds_and_sees_their_result(phone: Sender, northfield: Farm, cards: list[Station]):
    response = put(phone, northfield, round_body([card_reading(card) for card in cards]))
    assert (response.status_code, response.json()["source"]) == (201, "phone")
    assert response.json()["result"][0]["mean"] == 40.0


def test_how_far_the_senders_clock_was_off_is_noted_when_the_round_first_comes(
    program: Sender, northfield: Farm, cards: list[Station]
):
    """A phone that is two hours ahead: its times stay as it told them, and ours beside them."""
    ahead, round_id = NOW + timedelta(hours=2), uuid7()
    told = {"observed_at": str(ahead.isoformat()), "submitted_at": ahead.isoformat(), "sent_at": ahead.isoformat()}
    first = put(program, northfield, round_body([card_reading(cards[0])], **told), round_id).json()
    later = {**told, "sent_at": (ahead + timedelta(days=3)).isoformat()}
    again = put(program, northfield, round_body([card_reading(cards[1])], **later), round_id).json()
    assert (first["clock_ahead"], again["clock_ahead"]) == (7200, 7200)
    assert first["received_at"] == again["received_at"] != first["submitted_at"] == "2026-06-01T14:00:00Z"


def test_a_clock_that_was_never_set_is_noted_as_far_as_a_number_reaches(program: Sender, northfield: Farm):
    assert put(program, northfield, round_body([], sent_at="0001-01-01T00:00:00Z")).json()["clock_ahead"] == -(2**31)


def test_an_older_rounds_place_in_the_chain_holds_without_the_younger_column(program: Sender, northfield: Farm):
    put(program, northfield, round_body([]))
    put(program, northfield, round_body([], sent_at=NOW.isoformat()))
    with as_factory():
        plain, told = (row_values(each) for each in Round.objects.filter(farm=northfield).order_by("entry"))
    assert ("clock_ahead" in plain, told["clock_ahead"]) == (False, 0)
