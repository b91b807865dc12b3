"""A coordinator's guests: they read one group's region reports until a day, and nothing else, by any route."""

from datetime import date, timedelta
from uuid import uuid4

import pytest
from django.utils import timezone

from farms.models import Consent, Farm, Group, GroupMember, Region, User
from farms.models.access import GroupRole
from farms.services import end_guest, invite_guest
from tests.cast import acting, as_factory, make_user
from tests.server.api.routes import Route, routes
from tests.server.api.senders import Sender, phone_of, session_of, token_of
from tests.server.api.test_problems import assert_problem
from tests.server.api.test_regions import publish

COMMITS = pytest.mark.django_db(transaction=True, databases="__all__")
pytestmark = pytest.mark.django_db
DAY = timedelta(days=1)
IN_A_MONTH = (timezone.now() + 30 * DAY).replace(microsecond=0)
WIM = {"email": "wim@example.org", "name": "Wim, county office", "ends_at": IN_A_MONTH.isoformat()}
# The same reports twice, as JSON and as CSV.
REPORTS = {"get regions/{region_id}/reports", "get regions/{region_id}/reports.csv"}
OPEN_TO_A_GUEST = {"get me", "get farms", "get regions", "post phone", "get groups/{group_id}/terms/applied"}


def path(group: Group) -> str:
    return f"/api/v1/groups/{group.id}/guests"


def guest(group: Group, email: str = "wim@example.org", days: float = 30) -> tuple[User, GroupMember]:
    now = timezone.now()
    made = invite_guest(group=group, email=email, name="Wim", ends_at=now + 30 * DAY, now=now)
    with as_factory():
        GroupMember.objects.filter(id=made.id).update(ends_at=now + days * DAY)
    return made.user, made


@pytest.fixture
def other(db: None) -> Region:
    with as_factory():
        return Region.objects.create(group=Group.objects.create(name="Hill", slug="hill"), name="Hill", slug="hill")


def reads(user: User, region: Region) -> int:
    return session_of(user).get(f"/api/v1/regions/{region.id}/reports").status_code


@COMMITS
def test_a_guest_is_invited_reads_the_reports_and_is_ended_at_once(erik: User, group: Group, region: Region):
    publish(region, date(2026, 5, 25), disclosure="numbers", mean=84.5, share_over=0.25, contributors="12")
    coordinator = session_of(erik)
    made = coordinator.post(path(group), WIM)
    assert made.status_code == 201, made.content
    assert {key: made.json()[key] for key in ("email", "name", "ended_at")} == {
        "email": "wim@example.org", "name": "Wim, county office", "ended_at": None,
    }  # fmt: skip
    visitor = session_of(User.objects.get(email="wim@example.org"))
    assert [each["name"] for each in visitor.get("/api/v1/regions").json()["results"]] == ["Lower Valley"]
    assert visitor.get(f"/api/v1/regions/{region.id}/reports").json()["results"][0]["mean"] == 84.5
    assert visitor.get("/api/v1/me").json()["groups"][0]["role"] == "guest"
    for _ in range(2):
        assert coordinator.delete(f"{path(group)}/{made.json()['id']}").status_code == 204
    assert visitor.get("/api/v1/regions").json()["results"] == []
    assert_problem(visitor.get(f"/api/v1/regions/{region.id}/reports"), 404, "not_found")
    assert visitor.get("/api/v1/me").json()["groups"] == []
    assert coordinator.get(path(group)).json()["results"][0]["ended_at"] is not None


def test_a_stay_ends_by_itself(group: Group, region: Region):
    user, _made = guest(group, days=-0.001)
    assert reads(user, region) == 404
    assert session_of(user).get("/api/v1/regions").json()["results"] == []


def test_who_left_may_be_invited_again_and_who_is_there_not_twice(erik: User, group: Group, region: Region):
    user, _made = guest(group, days=-1)
    coordinator = session_of(erik)
    assert coordinator.post(path(group), WIM).status_code == 201
    assert session_of(user).get("/api/v1/me").json()["groups"][0]["role"] == "guest"
    assert_problem(coordinator.post(path(group), WIM | {"email": " WIM@example.org"}), 409, "already_guest")


@pytest.mark.parametrize(("changes", "code", "pointer"), [
    ({"ends_at": (timezone.now() + 401 * DAY).isoformat()}, "guest_end_wrong", "/ends_at"),
    ({"ends_at": (timezone.now() - DAY).isoformat()}, "guest_end_wrong", "/ends_at"),
    ({"email": "nobody"}, "invalid", "/email"),
    ({"name": " "}, "invalid", "/name"),
    ({"role": "coordinator"}, "invalid", "/role"),
])  # fmt: skip
def test_what_is_no_invitation_is_refused_and_makes_nobody(erik: User, group: Group, changes, code, pointer):
    before = User.objects.count()
    problem = assert_problem(session_of(erik).post(path(group), WIM | changes), 422, code)
    assert [each["pointer"] for each in problem["errors"]] == [pointer]
    assert User.objects.count() == before


def test_an_invitation_tells_nothing_of_an_account_that_is_there(erik: User, carla: User, group: Group):
    coordinator = session_of(erik)
    known = coordinator.post(path(group), WIM | {"email": "carla@example.org"}).json()
    unknown = coordinator.post(path(group), WIM).json()
    assert {key: known[key] for key in ("name", "ends_at", "ended_at")} == {
        key: unknown[key] for key in ("name", "ends_at", "ended_at")
    }
    assert "Carla" not in coordinator.get(path(group)).content.decode()
    carla.refresh_from_db()
    assert carla.name == "Carla"


def test_guests_are_the_coordinators_matter(erik, dana, anna, carla, northfield: Farm, group: Group, other: Region):
    user, made = guest(group)
    with as_factory():
        GroupMember.objects.create(group=other.group, user=carla, role=GroupRole.COORDINATOR)
    everybody = {403: [session_of(dana), session_of(anna)], 401: [Sender()]}
    everybody[404] = [session_of(carla), session_of(user), session_of(make_user("Frida"))]
    everybody[404] += [token_of(northfield, anna, "write"), phone_of(northfield, anna)]
    for status, senders in everybody.items():
        for sender in senders:
            answers = [sender.get(path(group)), sender.post(path(group), WIM | {"email": "new@example.org"})]
            answers.append(sender.delete(f"{path(group)}/{made.id}"))
            assert [each.status_code for each in answers] == [status] * 3
    assert not User.objects.filter(email="new@example.org").exists()
    # Another group's coordinator, by the way of the own group.
    assert session_of(carla).delete(f"{path(other.group)}/{made.id}").status_code == 404
    made.refresh_from_db()
    assert made.ended_at is None


def test_no_other_role_is_ended_by_that_way(erik: User, dana: User, group: Group):
    with as_factory():
        adviser = GroupMember.objects.get(user=dana)
    assert session_of(erik).delete(f"{path(group)}/{adviser.id}").status_code == 404


# Of what one asked for oneself, where nothing waits.
NOTHING_WAITS = {"get me/erasure": 404, "delete me/erasure": 409}
# In its body.
NAMES_A_FARM = {"post me/mail-choices"}


@pytest.mark.parametrize("route", [each for each in routes() if str(each) not in REPORTS], ids=str)
def test_a_guest_by_every_route(northfield: Farm, group: Group, region: Region, route: Route):
    """Real ids wherever an address takes one: what is open is written out above, all else isn't there for a guest.

    The reports themselves are read in the first test.
    """
    user, _made = guest(group)
    address = route.address(farm_id=northfield.id, group_id=group.id, region_id=region.id)
    answer = getattr(session_of(user), route.method)(address, **route.body())
    if str(route) in OPEN_TO_A_GUEST:
        assert answer.status_code < 500 and northfield.name not in answer.content.decode()
    elif "{" in route.template or str(route) in NAMES_A_FARM:
        assert answer.status_code == 404, answer.content
    elif str(route) in NOTHING_WAITS:
        assert answer.status_code == NOTHING_WAITS[str(route)], answer.content
    else:
        assert answer.status_code in (200, 201), answer.content  # one's own, such as feeds: of no farm


@pytest.mark.parametrize("route", [each for each in routes() if "{region_id}" in str(each)], ids=str)
def test_a_guest_of_one_group_sees_no_region_of_another(group: Group, region: Region, other: Region, route: Route):
    user, _made = guest(group)
    asked = [route.address(region_id=each) for each in (other.id, uuid4())]
    same = {"HTTP_X_REQUEST_ID": "the-same"}
    there, nowhere = (getattr(session_of(user), route.method)(each, **route.body(), **same) for each in asked)
    assert (there.status_code, there.content) == (404, nowhere.content)


def test_a_guest_of_two_groups_reads_both_and_loses_one_alone(group: Group, region: Region, other: Region):
    user, made = guest(group)
    guest(other.group)
    with acting(user):
        names = [each["name"] for each in session_of(user).get("/api/v1/regions").json()["results"]]
    assert names == ["Hill", "Lower Valley"]
    end_guest(guest=made, now=timezone.now())
    names = [each["name"] for each in session_of(user).get("/api/v1/regions").json()["results"]]
    assert names == ["Hill"]


def test_a_guest_can_not_be_made_a_farms_adviser(northfield: Farm, group: Group, anna: User):
    user, _made = guest(group)
    refused = session_of(anna).post(
        f"/api/v1/farms/{northfield.id}/consents", {"kind": "adviser", "adviser_id": str(user.id)}
    )
    assert_problem(refused, 422, "adviser_unknown")
    with as_factory():  # not even past the service
        Consent.objects.create(
            farm=northfield, kind="adviser", adviser=user, given_by=anna, given_at=timezone.now(), entry=1
        )
    assert session_of(user).get(f"/api/v1/farms/{northfield.id}").status_code == 404
    with acting(user):
        assert Farm.objects.count() == 0


def test_a_farmer_who_is_a_guest_elsewhere_keeps_the_farm(anna: User, northfield: Farm, other: Region):
    guest(other.group, "anna@example.org", days=-1)
    assert session_of(anna).get(f"/api/v1/farms/{northfield.id}").status_code == 200
    assert reads(anna, other) == 404
