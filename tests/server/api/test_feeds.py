"""Feed addresses by the API: a person's own, told once, one of a kind; no token makes one."""

from urllib.parse import urlsplit

import pytest
from django.test import Client

from farms.models import Farm, FeedAddress, LogEvent, User
from tests.cast import as_factory
from tests.server.api.senders import Sender, session_of
from tests.server.api.test_problems import assert_problem

pytestmark = pytest.mark.django_db
FEEDS = "/api/v1/me/feeds"


def make(sender: Sender, kind: str = "calendar") -> dict[str, str]:
    made = sender.post(FEEDS, {"kind": kind})
    assert made.status_code == 201, made.content
    found: dict[str, str] = made.json()
    return found


def read(address: str) -> int:
    return int(Client().get(urlsplit(address).path).status_code)


def test_a_person_makes_an_address_reads_there_and_switches_it_off(anna: User, northfield: Farm):
    owner = session_of(anna)
    made = make(owner)
    assert set(made) == {"id", "kind", "address", "made_at", "last_used_on"}
    assert (made["kind"], made["last_used_on"], read(made["address"])) == ("calendar", None, 200)
    (listed,) = owner.get(FEEDS).json()["results"]
    assert listed["last_used_on"] and listed == {k: made[k] for k in ("id", "kind", "made_at")} | {
        "last_used_on": listed["last_used_on"]
    }
    for _ in range(2):
        assert owner.delete(f"{FEEDS}/{made['id']}").status_code == 204
    assert read(made["address"]) == 404 and owner.get(FEEDS).json() == {"results": []}


def test_a_second_of_a_kind_ends_the_first(anna: User, northfield: Farm):
    owner = session_of(anna)
    first, other, second = make(owner), make(owner, "matters"), make(owner)
    assert [read(each["address"]) for each in (first, other, second)] == [404, 200, 200]
    assert {row["id"] for row in owner.get(FEEDS).json()["results"]} == {other["id"], second["id"]}


def test_another_persons_address_is_not_there(anna: User, ben: User, northfield: Farm):
    made = make(session_of(anna))
    assert_problem(session_of(ben).delete(f"{FEEDS}/{made['id']}"), 404, "not_found")
    assert session_of(ben).get(FEEDS).json() == {"results": []} and read(made["address"]) == 200


@pytest.mark.parametrize("who", ["program", "reader", "phone"])
def test_no_token_reads_or_makes_one(request: pytest.FixtureRequest, anna: User, northfield: Farm, who: str):
    made, token = make(session_of(anna)), request.getfixturevalue(who)
    for answer in (token.get(FEEDS), token.post(FEEDS, {"kind": "calendar"}), token.delete(f"{FEEDS}/{made['id']}")):
        assert_problem(answer, 403, "forbidden")
    assert FeedAddress.objects.count() == 1 and read(made["address"]) == 200
    assert_problem(Sender().get(FEEDS), 401, "not_signed_in")


@pytest.mark.parametrize("kind", ["rounds", "", None, 1, ["calendar"]])
def test_there_are_two_kinds(anna: User, northfield: Farm, kind: object):
    problem = assert_problem(session_of(anna).post(FEEDS, {"kind": kind}), 422, "invalid")
    assert problem["errors"][0]["pointer"] == "/kind" and not FeedAddress.objects.exists()


def test_each_farm_that_the_person_may_see_keeps_it_in_its_log(
    anna: User, dana: User, northfield: Farm, southmead: Farm
):
    owner, adviser = session_of(anna), session_of(dana)
    made = make(owner)
    make(owner)
    owner.delete(f"{FEEDS}/{made['id']}")  # ended already: nothing to note
    make(adviser, "matters")
    with as_factory():
        noted = list(
            LogEvent.objects.filter(kind__startswith="feed")
            .order_by("at", "id")
            .values_list("farm_id", "kind", "actor_kind", "actor_id", "about")
        )
    assert {row[0] for row in noted} == {northfield.id}
    assert [row[1:] for row in noted] == [
        ("feed_made", "farm_staff", anna.id, "calendar"),
        ("feed_ended", "farm_staff", anna.id, "calendar"),
        ("feed_made", "farm_staff", anna.id, "calendar"),
        ("feed_made", "adviser", dana.id, "matters"),
    ]
