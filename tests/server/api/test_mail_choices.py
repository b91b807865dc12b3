"""How often one's mails come, by the API: shown and set by the person who gets them, and by no token."""

from typing import Any

import pytest

from alerts.models import DigestChoice, MondayListChoice
from farms.ids import uuid7
from farms.models import Farm, Group, Region, User
from tests.cast import as_factory, make_user
from tests.server.api.senders import Sender, session_of
from tests.server.api.test_problems import assert_problem

pytestmark = pytest.mark.django_db
CHOICES = "/api/v1/me/mail-choices"


def stored() -> int:
    with as_factory():
        return DigestChoice.objects.count() + MondayListChoice.objects.count()


def test_a_person_sees_and_sets_how_often_each_mail_comes(anna: User, northfield: Farm):
    owner = session_of(anna)
    told = {"kind": "digest", "farm_id": str(northfield.id), "group_id": None, "region_id": None, "name": "Northfield"}
    assert owner.get(CHOICES).json() == {"results": [told | {"how_often": "every_week", "chosen_at": None}]}
    sent = {"kind": "digest", "farm_id": str(northfield.id), "how_often": "when_needed"}
    for _ in range(2):
        answer = owner.post(CHOICES, sent)
        assert answer.status_code == 200
        assert answer.json() == told | {"how_often": "when_needed", "chosen_at": "2026-06-01T12:00:00Z"}
    assert owner.get(CHOICES).json()["results"] == [answer.json()]
    with as_factory():
        assert DigestChoice.objects.get().way == "api"


def test_an_adviser_sets_the_list_of_the_group(dana: User, group: Group, northfield: Farm):
    adviser = session_of(dana)
    answer = adviser.post(CHOICES, {"kind": "monday_list", "group_id": str(group.id), "how_often": "none"})
    assert (answer.json()["name"], answer.json()["how_often"]) == ("Valley Advisers", "none")
    assert adviser.get(CHOICES).json()["results"] == [answer.json()]


@pytest.mark.parametrize("who", ["ben", "carla", "dana", "erik"])
def test_strangers_and_who_does_not_get_the_mail_learn_nothing(request, northfield: Farm, southmead: Farm, who: str):
    sender = session_of(request.getfixturevalue(who))
    there, nowhere = (
        assert_problem(
            sender.post(CHOICES, {"kind": "digest", "farm_id": str(each), "how_often": "none"}), 404, "not_found"
        )
        for each in (northfield.id, uuid7())
    )
    different = {"request_id", "instance"}
    assert {k: v for k, v in there.items() if k not in different} == {
        k: v for k, v in nowhere.items() if k not in different
    }
    assert stored() == 0


@pytest.mark.parametrize("who", ["program", "reader", "phone"])
def test_no_token_reads_or_sets_any(request: pytest.FixtureRequest, northfield: Farm, who: str):
    token = request.getfixturevalue(who)
    sent = {"kind": "digest", "farm_id": str(northfield.id), "how_often": "none"}
    for answer in (token.get(CHOICES), token.post(CHOICES, sent)):
        assert_problem(answer, 403, "forbidden")
    assert stored() == 0
    assert_problem(Sender().get(CHOICES), 401, "not_signed_in")


@pytest.mark.parametrize(
    ("wrong", "pointer"),
    [({"kind": "letter"}, "/kind"), ({"how_often": "monthly"}, "/how_often"), ({"farm_id": "x"}, "/farm_id")],
)
def test_what_is_made_up_is_refused_with_where(anna: User, northfield: Farm, wrong: dict[str, Any], pointer: str):
    sent = {"kind": "digest", "farm_id": str(northfield.id), "how_often": "none"} | wrong
    problem = assert_problem(session_of(anna).post(CHOICES, sent), 422, "invalid")
    assert [each["pointer"] for each in problem["errors"]] == [pointer] and stored() == 0


def test_a_kind_without_its_farm_or_group_is_no_mail_of_theirs(anna: User, northfield: Farm):
    assert_problem(session_of(anna).post(CHOICES, {"kind": "digest", "how_often": "none"}), 404, "not_found")


def test_whoever_may_see_a_region_asks_for_its_bulletin_and_stops_it(anna: User, region: Region, northfield: Farm):
    owner = session_of(anna)
    sent = {"kind": "region_bulletin", "region_id": str(region.id), "how_often": "every_week"}
    answer = owner.post(CHOICES, sent).json()
    assert (answer["region_id"], answer["name"], answer["how_often"]) == (str(region.id), "Lower Valley", "every_week")
    assert [row["kind"] for row in owner.get(CHOICES).json()["results"]] == ["digest", "region_bulletin"]
    assert owner.post(CHOICES, sent | {"how_often": "none"}).json()["how_often"] == "none"
    assert_problem(session_of(make_user("Frida")).post(CHOICES, sent), 404, "not_found")
