"""`Idempotency-Key`: what was sent twice is done once, and answered alike (the IETF draft of that name)."""

from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta
from pathlib import Path
from typing import Any
from uuid import uuid4

import httpx
import pytest
from django.conf import settings as django_settings
from django.db import connection

from farms.models import ApiToken, Farm, FarmAnswer, Membership, OwnAnswer, User
from farms.services.answer import Asking
from monitoring.models import Work
from tests.cast import NOW, acting, as_factory
from tests.server.api.bodies import everything_stored
from tests.server.api.senders import Sender, session_of, token_of
from tests.server.api.test_problems import assert_problem

pytestmark = pytest.mark.django_db
DONE = {"kind": "clean_out", "done_on": "2026-06-01"}


@pytest.fixture
def key() -> dict[str, str]:
    return {"Idempotency-Key": f'"{uuid4()}"'}


def works(farm: Farm) -> str:
    return f"/api/v1/farms/{farm.id}/works"


def test_sent_again_it_is_done_once_and_answered_alike(program: Sender, northfield: Farm, key: dict[str, str]):
    first = program.post(works(northfield), DONE, headers=key)
    assert first.status_code == 201, first.content
    again = program.post(works(northfield), DONE, headers=key)
    bare = program.post(works(northfield), DONE, headers={"Idempotency-Key": key["Idempotency-Key"].strip('"')})
    for answer in (again, bare):
        assert (answer.status_code, answer.content) == (201, first.content)
        assert answer.headers["Content-Type"] == first.headers["Content-Type"]
    with as_factory():
        assert Work.objects.filter(farm=northfield).count() == 1


def test_without_a_key_or_with_another_it_is_done_again(program: Sender, northfield: Farm, key: dict[str, str]):
    for headers in ({}, key, {"Idempotency-Key": str(uuid4())}):
        assert program.post(works(northfield), DONE, headers=headers).status_code == 201
    with as_factory():
        assert Work.objects.filter(farm=northfield).count() == 3


def test_another_request_under_the_same_key_is_refused(program: Sender, northfield: Farm, key: dict[str, str]):
    program.post(works(northfield), DONE, headers=key)
    stored = everything_stored(northfield)
    other = program.post(works(northfield), {**DONE, "kind": "drying"}, headers=key)
    assert_problem(other, 422, "idempotency_key_reused")
    elsewhere = program.post(f"/api/v1/farms/{northfield.id}/skips", DONE, headers=key)
    assert_problem(elsewhere, 422, "idempotency_key_reused")
    assert everything_stored(northfield) == stored


def test_what_was_refused_is_not_kept(program: Sender, northfield: Farm, key: dict[str, str]):
    assert program.post(works(northfield), {"kind": "?"}, headers=key).status_code == 422
    assert program.post(works(northfield), DONE, headers=key).status_code == 201


def test_thirty_days_long(program: Sender, northfield: Farm, key: dict[str, str]):
    clock = Path(django_settings.CLOCK_FILE)
    first = program.post(works(northfield), DONE, headers=key)
    clock.write_text((NOW + timedelta(days=29, hours=23)).isoformat())
    assert program.post(works(northfield), DONE, headers=key).content == first.content
    clock.write_text((NOW + timedelta(days=30, seconds=1)).isoformat())
    later = program.post(works(northfield), DONE, headers=key)
    assert (later.status_code, later.json()["id"] != first.json()["id"]) == (201, True)
    with as_factory():
        assert FarmAnswer.objects.filter(farm=northfield).count() == 1


def test_a_secret_is_told_once_and_kept_nowhere(anna: User, northfield: Farm, key: dict[str, str]):
    path, owner = f"/api/v1/farms/{northfield.id}/tokens", session_of(anna)
    body = {"name": "Herd program", "scope": "read", "expires_at": "2027-01-01T00:00:00Z"}
    made = owner.post(path, body, headers=key)
    assert made.status_code == 201, made.content
    assert_problem(owner.post(path, body, headers=key), 409, "secret_told_once")
    with as_factory():
        assert ApiToken.objects.filter(farm=northfield).count() == 1
        assert FarmAnswer.objects.get(farm=northfield).answer is None


def test_a_key_is_everybodys_own(program: Sender, northfield: Farm, anna: User, ben: User, key: dict[str, str]):
    answers = [
        sender.post(works(northfield), DONE, headers=key) for sender in (program, session_of(anna), session_of(ben))
    ]
    assert len({answer.json()["id"] for answer in answers}) == 3


def test_only_its_hash_is_stored(program: Sender, northfield: Farm, key: dict[str, str]):
    program.post(works(northfield), DONE, headers=key)
    with as_factory(), connection.cursor() as cursor:
        cursor.execute("SELECT f::text FROM farms_farmanswer f")
        assert key["Idempotency-Key"].strip('"') not in cursor.fetchone()[0]


@pytest.mark.parametrize(
    "given", ["short", "with space in it", '"open-at-the-end', "x" * 201, "unüblich-unüblich", '""']
)
def test_a_key_that_is_none(program: Sender, northfield: Farm, given: str):
    answer = program.post(works(northfield), DONE, HTTP_IDEMPOTENCY_KEY=given)
    assert_problem(answer, 422, "idempotency_key_wrong")


def test_a_group_s_level_is_set_once(erik: User, key: dict[str, str]):
    path = f"/api/v1/groups/{erik.group_roles.get().group_id}/action-levels"
    body = {"method": "card", "value": 80, "valid_from": "2026-06-08", "reason": "Neighbours are close."}
    first, again = (session_of(erik).post(path, body, headers=key) for _ in range(2))
    assert (first.status_code, again.content) == (201, first.content)
    with as_factory():
        assert OwnAnswer.objects.count() == 1


def test_a_stranger_learns_nothing_by_somebody_elses_key(
    program: Sender, northfield: Farm, southmead: Farm, carla: User, key: dict[str, str]
):
    program.post(works(northfield), DONE, headers=key)
    for stranger in (session_of(carla), token_of(southmead, carla, "write")):
        assert_problem(stranger.post(works(northfield), DONE, headers=key), 404, "not_found")


def test_an_answer_is_seen_by_whoever_got_it_while_they_may_see_the_farm(
    northfield: Farm, anna: User, ben: User, carla: User, key: dict[str, str]
):
    """By row security alone, without the door."""
    session_of(ben).post(works(northfield), DONE, headers=key)

    def seen_by(user: User) -> int:
        with acting(user):
            return FarmAnswer.objects.count()

    assert (seen_by(ben), seen_by(anna), seen_by(carla)) == (1, 0, 0)
    with as_factory():
        Membership.objects.filter(farm=northfield, user=ben).update(ended_at=NOW)
    assert seen_by(ben) == 0


def test_everything_that_was_done_goes_with_an_answer_that_can_not_be_kept(
    program: Sender, northfield: Farm, key: dict[str, str], monkeypatch: pytest.MonkeyPatch
):
    def fail(*args: Any, **kwargs: Any) -> None:
        raise RuntimeError("the disk is full")

    stored = everything_stored(northfield)
    monkeypatch.setattr("server.api.views.keep_answer", fail)
    assert program.post(works(northfield), DONE, headers=key).status_code == 500
    assert everything_stored(northfield) == stored


def test_the_lock_is_another_for_another_farm_or_asker(northfield: Farm, southmead: Farm):
    askings = [Asking(uuid4(), northfield, "key", b""), Asking(northfield.id, None, "key", b"")]
    askings += [Asking(askings[0].who, southmead, "key", b""), Asking(askings[0].who, northfield, "other", b"")]
    assert len({asking.lock for asking in askings}) == 4


@pytest.mark.django_db(transaction=True, databases="__all__")
def test_twenty_at_once_are_done_once(program: Sender, northfield: Farm, live_server: Any, key: dict[str, str]):
    headers = {"Authorization": f"Bearer {program.key}", **key}

    def send(number: int) -> tuple[int, str]:
        answer = httpx.post(f"{live_server.url}{works(northfield)}", json=DONE, headers=headers, timeout=60)
        return answer.status_code, answer.json().get("id") or answer.json()["code"]

    with ThreadPoolExecutor(20) as senders:
        answers = list(senders.map(send, range(20)))
    done = {told for status, told in answers if status == 201}
    assert len(done) == 1
    assert {told for status, told in answers if status != 201} <= {"in_flight"}
    with as_factory():
        assert Work.objects.filter(farm=northfield).count() == 1
