"""The embedded PostgreSQL and Valkey: `with servers(folder) as running:` and the address of each role.

Whoever enters `servers` either starts the servers of that folder or joins those that run; the last one to leave
stops them. A supervisor process holds them (see supervisor.py), so they also end when a command is killed.
"""

import contextlib
import os
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path

from server.embedded.cluster import Kind
from server.embedded.hold import Running, enter
from server.embedded.places import EmbeddedError, short_temporary_folder

__all__ = ["VARIABLES", "EmbeddedError", "Running", "environment", "scratch", "servers"]

VARIABLES = {
    "DATABASE_URL": "app",
    "DATABASE_URL_OWNER": "owner",
    "DATABASE_URL_WORKER": "worker",
    "DATABASE_URL_COHORT": "cohort",
    "DATABASE_URL_REGION": "region",
    "DATABASE_URL_ERASER": "eraser",
    "DATABASE_URL_BACKUP": "backup",
}


def environment(running: Running) -> dict[str, str]:
    """The variables that server.settings reads. In a test run the pages' connection is the tester's."""
    urls = {name: running.database_url(role) for name, role in VARIABLES.items()}
    if running.kind.tests:
        urls["DATABASE_URL"] = running.database_url("tester")
    return {**urls, "REDIS_URL": running.redis_url, "SECRET_KEY": running.secrets["secret_key"]}


@contextlib.contextmanager
def servers(
    data: Path, *, fsync: bool = True, tests: bool = False, say: Callable[[str], None] | None = None
) -> Iterator[Running]:
    """Start or join the servers whose data lies in `data`. Raises EmbeddedError with one sentence."""
    running = enter(Path(data), Kind(fsync=fsync, tests=tests), say=say)
    try:
        yield running
    finally:
        running.stop()


@contextlib.contextmanager
def scratch(*, tests: bool = True) -> Iterator[Running]:
    """Servers of one's own in a fresh folder, without fsync; all is removed at the end, even after a kill."""
    folder = Path(tempfile.mkdtemp(prefix="flyround-", dir=short_temporary_folder()))
    folder.chmod(0o711 if os.geteuid() == 0 else 0o700)
    running = enter(folder, Kind(fsync=False, tests=tests), throw_away=True)
    try:
        yield running
    finally:
        running.stop()
