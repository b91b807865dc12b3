"""Complaints by the API: for the farm's owners and its advisers, and in no file that leaves the farm."""

import pytest

from farms.ids import uuid7
from farms.models import Farm, User
from server.exports.tables import TABLES
from tests.server.api.senders import Sender, session_of
from tests.server.api.test_problems import assert_problem

pytestmark = pytest.mark.django_db
HEARD = {"heard_on": "2026-05-30", "came": "call", "said_by": "neighbour", "said": "Quilted flies", "place": "east"}
ANSWER = {"answered_on": "2026-06-01", "went": "visit", "answered": "Showed the quilted cards", "by": "Anna"}


def path(farm: Farm, more: str = "") -> str:
    return f"/api/v1/farms/{farm.id}/complaints{more}"


def test_it_is_noted_answered_and_mended_and_words_stay_out_of_kept_answers(anna: User, dana: User, northfield: Farm):
    owner, adviser = session_of(anna), session_of(dana)
    made = owner.post(path(northfield), HEARD)
    assert made.status_code == 201 and "Quilted" not in made.content.decode()
    one = path(northfield, f"/{made.json()['id']}")
    answered = adviser.post(f"{one}/answers", ANSWER)
    assert answered.status_code == 201 and "quilted" not in answered.content.decode()
    mend = HEARD | {"came": "letter", "replaces_id": made.json()["id"], "reason": "it was a letter"}
    assert_problem(owner.post(path(northfield), mend | {"reason": ""}), 422, "complaint_refused")
    assert owner.post(path(northfield), mend).json()["id"] == made.json()["id"]
    told = owner.get(one).json()
    assert (told["came"], told["said"], told["reason"]) == ("letter", "Quilted flies", "it was a letter")
    assert [(each["answered"], each["replaced"]) for each in told["answers"]] == [("Showed the quilted cards", False)]
    again = ANSWER | {"went": "call", "replaces_id": answered.json()["id"], "reason": "it was a call"}
    assert adviser.post(f"{one}/answers", again).status_code == 201
    assert_problem(adviser.post(f"{one}/answers", again), 409, "already_mended")
    assert [each["replaced"] for each in owner.get(one).json()["answers"]] == [True, False]
    assert owner.get(path(northfield)).json()["results"] == [owner.get(one).json()]


def test_bad_input_is_named(anna: User, northfield: Farm):
    owner = session_of(anna)
    for wrong, pointer in (
        ({"heard_on": "2026-06-02"}, "/heard_on"), ({"came": "pigeon"}, "/came"), ({"said": ""}, "/said"),
    ):  # fmt: skip
        answer = owner.post(path(northfield), HEARD | wrong)
        assert (answer.status_code, answer.json()["errors"][0]["pointer"]) == (422, pointer)
    for missing in ({"replaces_id": str(uuid7()), "reason": "why"},):
        assert_problem(owner.post(path(northfield), HEARD | missing), 404, "not_found")
    assert owner.get(path(northfield)).json()["results"] == []


def test_nobody_else_reads_or_writes(
    anna: User, ben: User, carla: User, erik: User, northfield: Farm, program: Sender, reader: Sender, phone: Sender
):
    made = session_of(anna).post(path(northfield), HEARD).json()["id"]
    for who, status, code in (
        (session_of(ben), 403, "forbidden"), (program, 403, "forbidden"), (reader, 403, "forbidden"),
        (phone, 403, "forbidden"), (session_of(carla), 404, "not_found"), (session_of(erik), 404, "not_found"),
    ):  # fmt: skip
        for answer in (
            who.get(path(northfield)), who.get(path(northfield, f"/{made}")), who.post(path(northfield), HEARD),
            who.post(path(northfield, f"/{made}/answers"), ANSWER),
        ):  # fmt: skip
            assert_problem(answer, status, code)


def test_no_file_to_take_along_has_it(anna: User, northfield: Farm):
    owner = session_of(anna)
    made = owner.post(path(northfield), HEARD).json()["id"]
    owner.post(path(northfield, f"/{made}/answers"), ANSWER)
    assert not [name for name in TABLES if "complaint" in name]
    for table in TABLES:
        file = owner.get(f"/api/v1/farms/{northfield.id}/exports/{table}.csv")
        assert b"uilted" not in b"".join(file.streaming_content)
