"""One scene for all of a process's tests of the matrix, in a transaction that is never committed."""

import logging
from collections.abc import Iterator
from typing import Any

import pytest


@pytest.fixture(scope="module")
def scene(django_db_setup: None, django_db_blocker: Any) -> Iterator[Any]:
    """Built once a module: each test asks in a transaction of its own inside this one, and rolls it back."""
    from django.db import connection, transaction

    from tests.isolation.scene import Scene

    # Thousands of refused requests, each of which would have its line.
    logging.disable(logging.CRITICAL)
    with django_db_blocker.unblock(), transaction.atomic():
        yield Scene()
        transaction.set_rollback(True)
    connection.close()
    logging.disable(logging.NOTSET)


@pytest.fixture(autouse=True)
def at_the_casts_moment(standing_clock: Any, settings: Any) -> None:
    """Every test here, and without the demo's page of mails."""
    settings.DEMO_MAIL_DIR = ""
