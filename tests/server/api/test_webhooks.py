"""Webhooks by the API: an owner's, made with a secret that is shown once; no key and no stranger comes near."""

import pytest

from alerts.models import Webhook, WebhookSecret
from alerts.models.webhook import Happening
from farms.models import Farm, LogEvent, User
from tests.cast import as_factory
from tests.server.api.senders import Sender, session_of
from tests.server.api.test_problems import assert_problem

pytestmark = pytest.mark.django_db
BODY = {"address": "https://hooks.example.org/in?key=for-us", "kinds": ["round.stored", "alert.opened"]}


@pytest.fixture
def path(northfield: Farm) -> str:
    return f"/api/v1/farms/{northfield.id}/webhooks"


def test_an_owner_makes_one_switches_it_and_takes_it_away(anna: User, northfield: Farm, path: str):
    owner = session_of(anna)
    made = owner.post(path, BODY)
    assert made.status_code == 201, made.content
    secret, webhook_id = made.json()["secret"], made.json()["id"]
    assert secret.startswith("whsec_") and len(secret) == 50
    (row,) = owner.get(path).json()["results"]
    assert row["address"] == BODY["address"] and row["kinds"] == ["alert.opened", "round.stored"] and row["on"]
    assert "secret" not in row and secret not in owner.get(path).content.decode()
    off = owner.post(f"{path}/{webhook_id}/switched", {"on": False}).json()
    assert (off["on"], off["off_because"]) == (False, "chosen")
    assert owner.post(f"{path}/{webhook_id}/switched", {"on": True}).json()["on"] is True
    assert owner.delete(f"{path}/{webhook_id}").status_code == 204
    assert owner.get(path).json()["results"] == []
    assert_problem(owner.post(f"{path}/{webhook_id}/switched", {"on": True}), 404, "not_found")
    with as_factory():
        noted = list(LogEvent.objects.filter(farm=northfield).order_by("id").values_list("kind", "about"))
    kinds = ["webhook_made", "webhook_changed", "webhook_changed", "webhook_ended"]
    # The host only: what stands behind it may be a secret of the receiver's.
    assert [each for each in noted if each[0].startswith("webhook")] == [(kind, "hooks.example.org") for kind in kinds]


@pytest.mark.parametrize(
    "address", ["http://hooks.example.org/", "https://127.0.0.1/", "https://localhost/", "https://[::1]/", "hooks"]
)
def test_an_address_that_leads_inside(anna: User, path: str, address: str):
    problem = assert_problem(session_of(anna).post(path, BODY | {"address": address}), 422, "webhook_address_wrong")
    assert problem["errors"][0]["pointer"] == "/address"


@pytest.mark.parametrize("kinds", [[], ["closure.set"], ["alert.opened", "alert.seen"], "alert.opened", None])
def test_kinds_that_are_not_told(anna: User, path: str, kinds: object):
    assert_problem(session_of(anna).post(path, BODY | {"kinds": kinds}), 422, "invalid")


def test_five_at_most(anna: User, path: str):
    owner = session_of(anna)
    made = [owner.post(path, BODY | {"kinds": [kind]}).status_code for kind in [*Happening.values, "week.judged"]]
    assert made == [201] * 5
    assert_problem(owner.post(path, BODY), 409, "too_many_webhooks")


def test_no_key_makes_reads_or_switches_one(
    anna: User, northfield: Farm, path: str, reader: Sender, program: Sender, phone: Sender
):
    made = session_of(anna).post(path, BODY).json()["id"]
    for sender in (reader, program, phone):
        for answer in (
            sender.post(path, BODY), sender.get(path), sender.delete(f"{path}/{made}"),
            sender.post(f"{path}/{made}/switched", {"on": False}),
        ):  # fmt: skip
            assert answer.status_code == 403
    with as_factory():
        assert Webhook.objects.get().is_on and WebhookSecret.objects.count() == 1


def test_recorder_and_adviser_may_not_and_carla_learns_nothing(
    anna: User, ben: User, dana: User, carla: User, southmead: Farm, path: str
):
    made = session_of(anna).post(path, BODY).json()["id"]
    for user, status in ((ben, 403), (dana, 403), (carla, 404)):
        sender = session_of(user)
        assert sender.get(path).status_code == sender.post(path, BODY).status_code == status
        assert sender.delete(f"{path}/{made}").status_code == status
    # By her own farm's address neither.
    own = f"/api/v1/farms/{southmead.id}/webhooks/{made}"
    assert session_of(carla).delete(own).status_code == 404
    assert session_of(carla).post(f"{own}/switched", {"on": False}).status_code == 404
    with as_factory():
        assert Webhook.objects.get().is_on
