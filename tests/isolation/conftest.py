"""One scene for all of a process's tests of the matrix, in a transaction that is never committed."""

import logging
from collections.abc import Iterator
from pathlib import Path
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
def standing_clock(settings: Any, tmp_path: Path) -> None:
    """The service's clock shows the cast's NOW; keys, links and sessions live by the real one."""
    from tests.cast import NOW

    path = tmp_path / "clock"
    path.write_text(NOW.isoformat())
    settings.CLOCK_FILE = str(path)
    settings.DEMO_MAIL_DIR = ""


@pytest.fixture(autouse=True)
def no_tries_yet() -> None:
    """What the tests before tried isn't held against this one."""
    from django.core.cache import cache

    cache.clear()
