"""The two walls between farms, the access door and row security: both up, or one of them alone."""

from collections.abc import Iterator
from contextlib import contextmanager, nullcontext

from django.db import connection, transaction

from tests.cast import as_role
from tests.isolation.open_door import opened_door

WAYS = ("both walls", "row security alone", "door alone")


@contextmanager
def only(way: str) -> Iterator[None]:
    """One transaction in which both walls, or one of them, stand; undone at the end."""
    with transaction.atomic():
        with opened_door() if way == "row security alone" else nullcontext(), _row_security(on=way != "door alone"):
            yield
        transaction.set_rollback(True)


@contextmanager
def _row_security(*, on: bool) -> Iterator[None]:
    """Off: as a role that row security passes by, which has all the app's rights."""
    if on:
        yield
        return
    with as_role("factory"), connection.cursor() as cursor:
        cursor.execute("SELECT rolbypassrls FROM pg_roles WHERE rolname = current_user")
        assert cursor.fetchone() == (True,)
        yield
        cursor.execute("SELECT current_user")
        assert cursor.fetchone() == ("flyround_factory",)
