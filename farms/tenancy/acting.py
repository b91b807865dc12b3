"""Acting for somebody: the transaction-local settings that row security reads.

Must run inside a transaction, which the caller opens (server/middleware.py for requests); at its end the settings are
gone. Row security guards against our own mistakes, not against SQL injection: whoever can run SQL as the app's role can
set these too.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from uuid import UUID

from django.db import connections, transaction

SETTINGS = ("app.user_id", "app.token_farm_id", "app.token_id", "app.farm_id")


def act_for_user(user_id: UUID, *, using: str = "default") -> None:
    """See and change what this user may, until the transaction ends."""
    _set({"app.user_id": str(user_id)}, using)


@contextmanager
def meanwhile_for_user(user_id: UUID, *, using: str = "default") -> Iterator[None]:
    """See and change what this user may, then again what was seen before; what fails inside is undone."""
    with transaction.atomic(using=using):
        with connections[using].cursor() as cursor:
            cursor.execute("SELECT " + ", ".join(["current_setting(%s, true)"] * len(SETTINGS)), SETTINGS)
            before = dict(zip(SETTINGS, cursor.fetchone() or (), strict=True))
        act_for_user(user_id, using=using)
        yield
        _set({name: value or "" for name, value in before.items()}, using)


def act_for_token(farm_id: UUID, token_id: UUID, *, using: str = "default") -> None:
    """See and change what this token may: its own farm, and no other farm of its maker."""
    _set({"app.token_farm_id": str(farm_id), "app.token_id": str(token_id)}, using)


def act_for_nobody(*, using: str = "default") -> None:
    """See no farm at all."""
    _set({}, using)


def erase_on_farm(farm_id: UUID, *, using: str = "eraser") -> None:
    """Let the eraser role reach one farm's rows."""
    _set({"app.farm_id": str(farm_id)}, using)


def erase_person(user_id: UUID, *, using: str = "eraser") -> None:
    """Let the eraser role reach what is one person's own, on no farm."""
    _set({"app.user_id": str(user_id)}, using)


def _set(values: dict[str, str], using: str) -> None:
    connection = connections[using]
    if not connection.in_atomic_block:
        raise transaction.TransactionManagementError("Acting for somebody needs an open transaction.")
    calls = ", ".join("set_config(%s, %s, true)" for _ in SETTINGS)
    parameters = [part for name in SETTINGS for part in (name, values.get(name, ""))]
    with connection.cursor() as cursor:
        cursor.execute(f"SELECT {calls}", parameters)
