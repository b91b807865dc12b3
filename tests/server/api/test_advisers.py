"""An adviser leaves: what their session and tokens get at once, and what coordinators and owners are told."""

from datetime import timedelta

import pytest
from django.utils import timezone

from farms.credentials import key_hash, new_token_key
from farms.models import AdviserOffer, ApiToken, Farm, Group, GroupMember, User
from farms.services import Plan, plan_visit
from tests.cast import NOW, acting, as_factory
from tests.server.api.senders import Sender, phone_of, session_of, token_of
from tests.server.api.test_problems import assert_problem

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("standing_clock")]
DAY = "2026-06-15"


def path(group: Group, *parts: object) -> str:
    return "/".join([f"/api/v1/groups/{group.id}/advisers", *map(str, parts)])


def role_id(user: User) -> object:
    return GroupMember.objects.get(user=user, role="adviser").id


def leave(erik: User, dana: User, group: Group, **body: object) -> Sender:
    office = session_of(erik)
    answer = office.post(path(group, role_id(dana), "leave"), body)
    assert answer.status_code == 200, answer.content
    return office


def test_session_and_token_open_nothing_any_more(northfield: Farm, group: Group, erik, dana):
    farm = f"/api/v1/farms/{northfield.id}"
    key = new_token_key()
    with as_factory():
        ApiToken.objects.create(
            farm=northfield, name="program", scope="read", key_hash=key_hash(key), made_by=dana,
            made_at=NOW, expires_at=timezone.now() + timedelta(days=9),
        )  # fmt: skip
    session, program = session_of(dana), Sender(key)
    assert [each.get(farm).status_code for each in (session, program)] == [200, 200]
    leave(erik, dana, group)
    assert [each.get(farm).status_code for each in (session, program)] == [404, 401]
    assert session.get("/api/v1/farms").json()["results"] == []
    assert session.get(path(group)).status_code == 404
    assert session.put(f"{farm}/rounds/0197d0c2-5c00-7000-8000-0000000000ff", {}).status_code == 404


def test_a_farm_phone_goes_on_counting(northfield: Farm, group: Group, erik, dana):
    phone = phone_of(northfield, dana)
    leave(erik, dana, group)
    assert phone.get(f"/api/v1/farms/{northfield.id}/round-sheet").status_code == 200


def test_the_coordinator_learns_how_many_and_not_which(northfield: Farm, group: Group, erik, dana, anna, fay):
    with acting(dana):
        plan_visit(farm=northfield, plan=Plan("visit", NOW.date()), by=dana, now=NOW)
    office = leave(erik, dana, group, successor_id=str(fay.id), begins_on=DAY)
    assert [each["name"] for each in office.get(path(group)).json()["results"]] == ["Fay"]
    offers, promises = (office.get(path(group, each)) for each in ("offers", "open-promises"))
    assert offers.json()["results"] == [
        {"left_id": str(dana.id), "successor_id": str(fay.id), "begins_on": DAY, "answer": "nothing", "farms": 1}
    ]
    assert promises.json()["results"] == [
        {"left_id": str(dana.id), "kind": "visit", "day": "2026-06-01", "promises": 1}
    ]
    for answer in (offers, promises):
        assert "Northfield" not in answer.content.decode() and str(northfield.id) not in answer.content.decode()


def test_an_owner_says_yes_and_the_successor_takes_the_promise_over(northfield: Farm, group, erik, dana, anna, fay):
    with acting(dana):
        plan_visit(farm=northfield, plan=Plan("visit", NOW.date()), by=dana, now=NOW)
    office = leave(erik, dana, group, successor_id=str(fay.id), begins_on=DAY)
    farm, home, next_one = f"/api/v1/farms/{northfield.id}", session_of(anna), session_of(fay)
    offer = home.get(f"{farm}/adviser-offers").json()["results"][0]
    assert (offer["successor_id"], offer["begins_on"], offer["begins_by_itself"]) == (str(fay.id), DAY, False)
    assert next_one.get(f"{farm}/promises").status_code == 404
    said = home.post(f"{farm}/adviser-offers/{offer['id']}/answer", {"answer": "yes"})
    assert (said.status_code, said.json()["answer"]) == (200, "yes")
    again = home.post(f"{farm}/adviser-offers/{offer['id']}/answer", {"answer": "no"})
    assert_problem(again, 409, "offer_answered")
    promise = next_one.get(f"{farm}/promises").json()["results"][0]
    assert home.post(f"{farm}/promises/{promise['id']}/taken").status_code == 403
    assert next_one.post(f"{farm}/promises/{promise['id']}/taken").json()["taken_by_id"] == str(fay.id)
    assert office.get(path(group, "open-promises")).json()["results"] == []
    assert [each["day"] for each in next_one.get(f"{farm}/visits").json()["results"]] == ["2026-06-01"]


def test_a_successor_named_later_and_promises_passed(northfield: Farm, group, region, erik, dana, anna, fay):
    with acting(dana):
        plan_visit(farm=northfield, plan=Plan("call", NOW.date()), by=dana, now=NOW)
    office, who = leave(erik, dana, group), role_id(dana)
    named = {"successor_id": str(fay.id), "begins_on": DAY, "region_id": str(region.id)}
    assert office.post(path(group, who, "successor"), named).json() == {"farms": 1}
    to_fay = {"adviser_id": str(fay.id)}
    assert office.post(path(group, who, "promises"), to_fay).json() == {"promises": 0}
    with acting(anna):
        offer = AdviserOffer.objects.get(ended_at__isnull=True)
    address = f"/api/v1/farms/{northfield.id}/adviser-offers/{offer.id}/answer"
    assert session_of(anna).post(address, {"answer": "yes"}).status_code == 200
    assert office.post(path(group, who, "promises"), to_fay).json() == {"promises": 1}


def test_what_is_refused(northfield: Farm, group, elsewhere, erik, dana, carla, fay):
    office, who = session_of(erik), role_id(dana)
    for body, code in (
        ({"successor_id": str(carla.id), "begins_on": DAY}, "successor_unknown"),
        ({"successor_id": str(fay.id)}, "take_over_day_wrong"),
        ({"successor_id": str(fay.id), "begins_on": "2026-06-14"}, "take_over_day_wrong"),
        ({"successor_id": str(fay.id), "begins_on": DAY, "region_id": str(who)}, "region_elsewhere"),
    ):
        assert_problem(office.post(path(group, who, "leave"), body), 422, code)
    named = {"successor_id": str(fay.id), "begins_on": DAY}
    assert_problem(office.post(path(group, who, "successor"), named), 409, "adviser_stays")
    leave(erik, dana, group)
    assert_problem(office.post(path(group, who, "leave"), {}), 409, "adviser_left_already")


def test_it_is_the_coordinators_matter(northfield: Farm, group: Group, erik, dana, anna, carla, fay):
    who = role_id(dana)
    everybody = {403: [session_of(fay), session_of(dana), session_of(anna)], 401: [Sender()]}
    everybody[404] = [session_of(carla), token_of(northfield, anna, "write"), phone_of(northfield, anna)]
    for status, senders in everybody.items():
        for sender in senders:
            answers = [sender.get(path(group, each)) for each in ("offers", "open-promises")]
            answers += [sender.get(path(group)), sender.post(path(group, who, "leave"), {})]
            answers += [sender.post(path(group, who, each), {}) for each in ("successor", "promises")]
            assert {each.status_code for each in answers} == {status}
    assert GroupMember.objects.get(id=who).ended_at is None


def test_an_offer_is_the_owners_to_answer(northfield: Farm, group, erik, dana, anna, ben, carla, fay):
    reader = token_of(northfield, anna, "write")
    leave(erik, dana, group, successor_id=str(fay.id), begins_on=DAY)
    with acting(anna):
        offer = AdviserOffer.objects.get(ended_at__isnull=True)
    address = f"/api/v1/farms/{northfield.id}/adviser-offers/{offer.id}/answer"
    for sender, status in (
        (session_of(ben), 403), (reader, 403), (session_of(fay), 404), (session_of(dana), 404),
        (session_of(carla), 404), (session_of(erik), 404), (Sender(), 401),
    ):  # fmt: skip
        assert sender.post(address, {"answer": "yes"}).status_code == status
    with acting(anna):
        assert AdviserOffer.objects.get(id=offer.id).answer == "nothing"


def test_whoever_follows_is_agreed_when_consenting(northfield: Farm, anna: User, fay: User):
    body = {"kind": "adviser", "adviser_id": str(fay.id), "whoever_follows": True}
    made = session_of(anna).post(f"/api/v1/farms/{northfield.id}/consents", body)
    assert (made.status_code, made.json()["whoever_follows"]) == (201, True)
