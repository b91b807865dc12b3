"""The embedded PostgreSQL and Valkey: `with servers(folder) as running:` and the address of each role.

Whoever enters `servers` either starts the servers of that folder or joins those that run; the last one to leave
stops them. A supervisor process holds them (see supervisor.py), so they also end when a command is killed.
"""

import contextlib
import os
import secrets
import shutil
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path

from server.embedded.cluster import Kind
from server.embedded.hold import Running, enter
from server.embedded.places import PREFIX, EmbeddedError, short_temporary_folder

__all__ = [
    "NOWHERE_REDIS",
    "VARIABLES",
    "EmbeddedError",
    "Running",
    "current",
    "environment",
    "nowhere",
    "scratch",
    "servers",
]

VARIABLES = {
    "DATABASE_URL": "app",
    "DATABASE_URL_OWNER": "owner",
    "DATABASE_URL_WORKER": "worker",
    "DATABASE_URL_COHORT": "cohort",
    "DATABASE_URL_REGION": "region",
    "DATABASE_URL_ERASER": "eraser",
    "DATABASE_URL_BACKUP": "backup",
}
NOWHERE_REDIS = "unix:///nonexistent/valkey.sock"
_held: list[Running] = []


def environment(running: Running) -> dict[str, str]:
    """The variables that server.settings reads. In a test run the pages' connection is the tester's."""
    urls = {name: running.database_url(role) for name, role in VARIABLES.items()}
    if running.kind.tests:
        urls["DATABASE_URL"] = running.database_url("tester")
    return {**urls, "REDIS_URL": running.redis_url, "SECRET_KEY": running.secrets["secret_key"]}


def nowhere() -> dict[str, str]:
    """The same variables for commands that load the settings and use no server; every connection is refused."""
    urls = dict.fromkeys(VARIABLES, "postgresql://nobody@:5432/none?host=%2Fnonexistent")
    return {**urls, "REDIS_URL": NOWHERE_REDIS, "SECRET_KEY": secrets.token_urlsafe(48)}


def current() -> Running | None:
    """The servers that this process holds, for a command that manage.py started; None when they are not ours."""
    return _held[-1] if _held else None


def servers(
    data: Path, *, fsync: bool = True, tests: bool = False, say: Callable[[str], None] | None = None
) -> contextlib.AbstractContextManager[Running]:
    """Start or join the servers whose data lies in `data`. Entering raises EmbeddedError with one sentence."""
    return _held_while(lambda: enter(Path(data), Kind(fsync=fsync, tests=tests), say=say))


def scratch(
    *, tests: bool = True, fsync: bool = False, cache: str = Kind.cache
) -> contextlib.AbstractContextManager[Running]:
    """Servers of one's own in a fresh folder; all is removed at the end, even after a kill."""

    def enter_fresh() -> Running:
        folder = Path(tempfile.mkdtemp(prefix=PREFIX, dir=short_temporary_folder()))
        # Root's servers run under another account, which passes through this folder to its own.
        folder.chmod(0o711 if os.geteuid() == 0 else 0o700)
        try:
            return enter(folder, Kind(fsync=fsync, tests=tests, throw_away=True, cache=cache))
        except BaseException:
            shutil.rmtree(folder, ignore_errors=True)
            raise

    return _held_while(enter_fresh)


@contextlib.contextmanager
def _held_while(start: Callable[[], Running]) -> Iterator[Running]:
    running = start()
    _held.append(running)
    try:
        yield running
    finally:
        _held.remove(running)
        running.stop()
