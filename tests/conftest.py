"""Servers, database and cast of the tests.

Every run has a PostgreSQL and a Valkey of its own (server.embedded.scratch), and every xdist process a database of its
own in it. `default` logs in as the tester, who begins as the app's role: row security holds in the tests as it does in
production.
"""

import contextlib
import itertools
import os
from collections import Counter
from collections.abc import Iterator
from typing import Any
from urllib.parse import urlsplit, urlunsplit

import django
import hypothesis
import pytest

from server import embedded
from tests.full import FULL

PREFIX = "test_"

# A shared machine stutters; how long one example takes says nothing about whether it is right.
hypothesis.settings.register_profile("no deadline", deadline=None)
hypothesis.settings.load_profile("no deadline")


_servers = contextlib.ExitStack()


def start_servers() -> None:
    """Servers for the whole run; xdist's processes find the addresses in the environment that they inherit."""
    os.environ.update(embedded.environment(_servers.enter_context(embedded.scratch(tests=True))))


def use_own_part(worker: str) -> None:
    """Point this process, and those it will start, at its own database and its own part of Valkey."""
    for name in embedded.VARIABLES:
        own = urlsplit(os.environ[name])._replace(path=f"/{PREFIX}flyround_{worker}")
        os.environ[name] = urlunsplit(own)
    socket, part = os.environ["REDIS_URL"].partition("?")[0], int(worker.removeprefix("gw")) % 16
    os.environ["REDIS_URL"] = f"{socket}?db={part}"
    os.environ["CELERY_BROKER_URL"] = f"{socket.replace('unix://', 'redis+socket://', 1)}?virtual_host={part}"


def set_up_django() -> None:
    # Every request is counted as in production, against limits that no test reaches unless it sets its own.
    os.environ["API_LIMITS_TIMES"] = "1000000"
    os.environ["AFTER_ANSWER_IN_THREAD"] = "false"
    os.environ["DJANGO_SETTINGS_MODULE"] = "server.settings"
    django.setup()
    # Not left for xdist's processes: pytest-django would read the settings there before this module is imported.
    del os.environ["DJANGO_SETTINGS_MODULE"]


# While this module is imported, since the settings read the environment and the conftests of the folders below import
# models.
if "PYTEST_XDIST_WORKER" not in os.environ:
    start_servers()
use_own_part(os.environ.get("PYTEST_XDIST_WORKER", "gw0"))
set_up_django()
pytest.register_assert_rewrite("tests.cast")


def pytest_configure(config: pytest.Config) -> None:
    config.pluginmanager.import_plugin("tests.cast")


def pytest_terminal_summary(terminalreporter: Any) -> None:
    """What tests counted under a name that begins with "asked" (`record_property`), added up over all of them."""
    counted: Counter[str] = Counter()
    for report in itertools.chain.from_iterable(terminalreporter.stats.values()):
        if getattr(report, "when", "") == "call":
            for name, value in report.user_properties:
                counted[name] += value if name.startswith("asked") else 0
    for name, value in sorted(counted.items()):
        if value:
            terminalreporter.write_line(f"{name}: {value:,}")


def pytest_unconfigure() -> None:
    _servers.close()


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    for item in items:
        require_owner_for_flush(item)
        if item.get_closest_marker("full") and not FULL:
            item.add_marker(pytest.mark.skip(reason="counts in thousands: run it with `manage.py test --full`"))


def require_owner_for_flush(item: pytest.Item) -> None:
    """A test that commits must name the owner, or nothing is taken away after it."""
    marker = item.get_closest_marker("django_db")
    if marker is None or not marker.kwargs.get("transaction"):
        return
    databases = marker.kwargs.get("databases") or []
    if databases != "__all__" and "owner" not in databases:
        raise pytest.UsageError(f"{item.nodeid} commits: give its django_db mark databases='__all__'.")


@pytest.fixture(scope="session")
def django_db_setup(django_db_blocker: Any) -> Iterator[None]:
    """Make this process's database as the owner and migrate it once. Thrown away with the servers."""
    from django.core.management import call_command
    from django.db import connections

    with django_db_blocker.unblock():
        names = {alias: connections[alias].settings_dict["NAME"] for alias in connections}
        wrong = {alias: name for alias, name in names.items() if not name.startswith(PREFIX)}
        if wrong:
            raise pytest.UsageError(f"Tests only touch databases whose name begins with {PREFIX}, not {wrong}.")
        for alias in connections:
            # Only the owner can truncate, so only the owner's alias is flushed after a test that commits.
            connections[alias].settings_dict["TEST"]["MIRROR"] = None if alias == "owner" else "owner"
        with connections["owner"]._nodb_cursor() as cursor:
            cursor.execute(f'CREATE DATABASE "{names["owner"]}"')
        call_command("migrate", database="owner", verbosity=0, interactive=False)
        yield
        for connection in connections.all(initialized_only=True):
            connection.close()
