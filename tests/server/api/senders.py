"""Who sends requests in these tests: sessions and tokens of the cast."""

from datetime import timedelta

from django.utils import timezone
from rest_framework.test import APIClient

from farms.models import Farm, User
from farms.services import make_token
from tests.cast import acting


class Sender(APIClient):
    """Speaks JSON; a crash of the service comes as its answer, as it would over the wire."""

    def __init__(self, key: str = "", **defaults: object) -> None:
        super().__init__(raise_request_exception=False, **defaults)
        self.default_format = "json"
        self.key = key
        if key:
            self.credentials(HTTP_AUTHORIZATION=f"Bearer {key}")


def session_of(user: User) -> Sender:
    sender = Sender()
    sender.force_login(user)
    return sender


def token_of(farm: Farm, owner: User, scope: str) -> Sender:
    """A program's token; it lives by the real clock."""
    now = timezone.now()
    with acting(owner):
        _token, key = make_token(
            farm=farm, name=f"{scope} program", scope=scope, by=owner, expires_at=now + timedelta(days=30), now=now
        )
    return Sender(key)


def phone_of(farm: Farm, owner: User) -> Sender:
    """A farm phone: the owner shows a code, the phone types it."""
    code = session_of(owner).post(f"/api/v1/farms/{farm.id}/phone-codes").json()["code"]
    return Sender(Sender().post("/api/v1/phone", {"code": code, "name": "Barn"}).json()["key"])
