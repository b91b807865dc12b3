"""The data agreement and a group's terms over the API."""

from datetime import timedelta

import pytest
from django.utils import timezone

from farms.models import Acceptance, Farm, GroupMember, User
from farms.models.access import GroupRole
from tests.cast import as_factory, make_user
from tests.server.api.senders import Sender, session_of, token_of
from tests.server.api.test_problems import assert_problem

pytestmark = pytest.mark.django_db
YES = {"version": "2026-1", "language": "en"}
TERMS = {"licence": "CC0-1.0", "sells_products": True, "contact": "Office, 555 0100", "valid_from": "2026-06-01"}


def of(farm: Farm, rest: str = "") -> str:
    return f"/api/v1/farms/{farm.id}/agreement{rest}"


def make_guest(group) -> Sender:
    user = make_user("Gerda")
    with as_factory():
        GroupMember.objects.create(
            group=group, user=user, role=GroupRole.GUEST, ends_at=timezone.now() + timedelta(days=9)
        )
    return session_of(user)


def test_it_is_read_in_the_language_asked_for(anna: User, dana: User, northfield: Farm):
    told = session_of(dana).get(of(northfield), headers={"accept-language": "es"}).json()
    assert (told["version"], told["made_on"], told["language"], told["title"]) == (
        "2026-1", "2026-01-12", "es", "Acuerdo de datos"
    )  # fmt: skip
    english = session_of(anna).get(of(northfield), headers={"accept-language": "en"}).json()
    seen = next(section for section in english["sections"] if section["heading"] == "Who sees what")
    assert seen["columns"] == ["Who", "Sees", "Does not see"] and len(seen["rows"]) == 10
    assert english["terms"]["licence"] == {
        "spdx": "CC-BY-4.0",
        "name": "Creative Commons Attribution 4.0 International",
        "url": "https://creativecommons.org/licenses/by/4.0/",
    }
    assert english["advisers"] == [{"adviser_id": str(dana.id), "sells_products": None}]
    assert (english["holds"], english["changes"]) == (False, [])


def test_an_owner_accepts_what_was_read(anna: User, northfield: Farm):
    owner = session_of(anna)
    edition = owner.get(of(northfield)).json()["edition"]
    made = owner.post(of(northfield, "/acceptances"), {**YES, "edition": edition})
    assert made.status_code == 201
    assert (made.json()["accepted_by_id"], made.json()["signed_on"]) == (str(anna.id), None)
    assert owner.get(of(northfield, "/acceptances")).json()["results"] == [made.json()]
    assert owner.get(of(northfield)).json()["holds"] is True
    assert_problem(owner.post(of(northfield, "/acceptances"), YES), 409, "agreement_accepted")


def test_what_changed_since_is_told_and_accepted_anew(anna: User, erik: User, group, northfield: Farm):
    owner = session_of(anna)
    read = owner.get(of(northfield)).json()["edition"]
    owner.post(of(northfield, "/acceptances"), YES)
    session_of(erik).post(f"/api/v1/groups/{group.id}/terms", TERMS)
    told = owner.get(of(northfield)).json()
    assert told["holds"] is False
    assert told["changes"] == [
        {"what": "licence", "before": "CC-BY-4.0", "now": "CC0-1.0", "adviser_id": None},
        {"what": "group", "before": None, "now": "yes", "adviser_id": None},
    ]
    stale = {**YES, "edition": read}
    assert_problem(owner.post(of(northfield, "/acceptances"), stale), 409, "agreement_changed")
    assert owner.post(of(northfield, "/acceptances"), {**YES, "edition": told["edition"]}).status_code == 201


@pytest.mark.parametrize(("changed", "status", "code"), [
    ({"version": "1999-1"}, 422, "version_unknown"),
    ({"language": "fr"}, 422, "invalid"),
    ({"edition": "x"}, 409, "agreement_changed"),
])  # fmt: skip
def test_what_cannot_be_accepted(anna: User, northfield: Farm, changed, status, code):
    assert_problem(session_of(anna).post(of(northfield, "/acceptances"), {**YES, **changed}), status, code)
    with as_factory():
        assert not Acceptance.objects.exists()


def test_who_may(anna: User, ben: User, carla: User, dana: User, erik: User, northfield: Farm):
    keys = [token_of(northfield, anna, scope) for scope in ("read", "write")]
    for sender, status in [
        (session_of(ben), 403), (session_of(carla), 404), (session_of(erik), 404), (Sender(), 401),
        *((key, 403) for key in keys),
    ]:  # fmt: skip
        assert sender.get(of(northfield)).status_code == status
        assert sender.get(of(northfield, "/acceptances")).status_code == status
        assert sender.post(of(northfield, "/acceptances"), YES).status_code == status
    adviser = session_of(dana)
    assert adviser.get(of(northfield, "/acceptances")).status_code == 200
    assert_problem(adviser.post(of(northfield, "/acceptances"), YES), 403, "forbidden")


def test_a_group_writes_its_terms_and_its_people_read_them(
    anna: User, carla: User, dana: User, erik: User, group, northfield: Farm
):
    path = f"/api/v1/groups/{group.id}/terms"
    assert session_of(dana).get(f"{path}/applied").json()["valid_from"] is None
    made = session_of(erik).post(path, TERMS)
    assert made.status_code == 201 and made.json()["set_by_id"] == str(erik.id)
    later = session_of(erik).post(path, {**TERMS, "licence": "PDDL-1.0", "valid_from": "2026-07-01"})
    guest = make_guest(group)
    for sender in (session_of(anna), session_of(dana), guest, token_of(northfield, anna, "read")):
        told = sender.get(f"{path}/applied").json()
        assert (told["licence"]["spdx"], told["sells_products"]) == ("CC0-1.0", True)
    assert session_of(anna).get(f"{path}/applied?on=2026-07-01").json()["licence"]["spdx"] == "PDDL-1.0"
    assert session_of(anna).get(path).json()["results"] == [later.json(), made.json()]
    for sender, status in ((guest, 404), (token_of(northfield, anna, "read"), 404), (session_of(carla), 404)):
        assert sender.get(path).status_code == status
    assert_problem(session_of(carla).get(f"{path}/applied"), 404, "not_found")
    for user in (anna, dana):
        assert_problem(session_of(user).post(path, TERMS), 403, "forbidden")
    assert_problem(session_of(carla).post(path, TERMS), 404, "not_found")


@pytest.mark.parametrize(("changed", "code"), [
    ({"licence": "MIT"}, "invalid"), ({"valid_from": "2026-05-31"}, "terms_day_wrong"),
    ({"contact": "a\tb\u0000"}, "invalid"),
])  # fmt: skip
def test_terms_that_cannot_be_right(erik: User, group, changed, code):
    answer = session_of(erik).post(f"/api/v1/groups/{group.id}/terms", {**TERMS, **changed})
    assert_problem(answer, 422, code)
