"""The weekday of a farm's mail, by the API: managers choose, everything chosen stays, strangers find nothing."""

import pytest

from farms.ledger import verify_links
from farms.models import Farm, LedgerEntry, User
from tests.cast import as_factory
from tests.server.api.senders import session_of
from tests.server.api.test_problems import assert_problem

pytestmark = pytest.mark.django_db


def path_of(farm: Farm) -> str:
    return f"/api/v1/farms/{farm.id}/mail-days"


def test_an_adviser_chooses_a_day_and_every_choice_stays(dana: User, northfield: Farm):
    adviser = session_of(dana)
    for weekday in (3, 5):
        made = adviser.post(path_of(northfield), {"weekday": weekday})
        assert (made.status_code, made.json()["weekday"], made.json()["set_by_id"]) == (201, weekday, str(dana.id))
    assert [row["weekday"] for row in adviser.get(path_of(northfield)).json()["results"]] == [5, 3]


def test_each_choice_is_an_entry_of_the_farms_chain(anna: User, northfield: Farm):
    session_of(anna).post(path_of(northfield), {"weekday": 3})
    with as_factory():
        entries = list(LedgerEntry.objects.filter(farm=northfield).order_by("number"))
        assert verify_links(northfield.id) == []
    assert entries[-1].kind == "mail_day"


@pytest.mark.parametrize("weekday", [0, 8, -1, 2.5, "3", None, True])
def test_a_day_that_is_none_is_refused(anna: User, northfield: Farm, weekday: object):
    problem = assert_problem(session_of(anna).post(path_of(northfield), {"weekday": weekday}), 422, "invalid")
    assert problem["errors"][0]["pointer"] == "/weekday"


def test_a_recorder_reads_and_does_not_choose(ben: User, northfield: Farm):
    assert session_of(ben).get(path_of(northfield)).status_code == 200
    assert_problem(session_of(ben).post(path_of(northfield), {"weekday": 3}), 403, "forbidden")


def test_a_stranger_finds_nothing(carla: User, northfield: Farm):
    assert_problem(session_of(carla).get(path_of(northfield)), 404, "not_found")
    assert_problem(session_of(carla).post(path_of(northfield), {"weekday": 3}), 404, "not_found")
