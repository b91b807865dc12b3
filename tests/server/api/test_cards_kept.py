"""Where the dated cards are kept, by the API: for the farm's people and its adviser, never to a key."""

import pytest

from farms.models import Farm, User
from tests.server.api.senders import Sender, session_of
from tests.server.api.test_problems import assert_problem

pytestmark = pytest.mark.django_db
BOX = {"words": "a dry box", "from_on": "2026-04-06"}


def path(farm: Farm) -> str:
    return f"/api/v1/farms/{farm.id}/cards-kept"


def test_the_owner_notes_it_and_whoever_counts_reads_it(anna: User, ben: User, northfield: Farm):
    made = session_of(anna).post(path(northfield), BOX)
    assert made.status_code == 201, made.content
    [row] = session_of(ben).get(path(northfield)).json()["results"]
    assert row == made.json() and BOX.items() <= row.items() and row["actor_kind"] == "farm_staff"


def test_no_key_reads_it(program: Sender, northfield: Farm):
    assert_problem(program.get(path(northfield)), 403, "forbidden")


def test_a_far_day_is_named(anna: User, northfield: Farm):
    answer = session_of(anna).post(path(northfield), BOX | {"from_on": "2099-01-01"})
    assert_problem(answer, 422, "cards_kept_refused")
    assert answer.json()["errors"][0]["pointer"] == "/from_on"
