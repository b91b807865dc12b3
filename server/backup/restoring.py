"""Restoring a backup: into a database beside the one in use, compared with the manifest, then exchanged by name.

Until the exchange nothing in use is touched; the exchange is one transaction.
"""

import contextlib
import secrets
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import psycopg
from django.core.management import call_command
from django.db import connections
from django.db.migrations.loader import MigrationLoader
from psycopg import errors, sql

from server.backup.archive import Manifest, opened
from server.backup.contents import TABLES, contents_of, differences
from server.backup.errors import BackupError
from server.backup.login import Login
from server.backup.programs import program, run
from server.embedded.cluster import SQL as SCRIPTS

# A database in which none of these has a row may be replaced without a word: nobody has begun there.
BEGUN_WITH = ("farms_group", "farms_user", "farms_farm")
SESSIONS = "SELECT count(*) FROM pg_stat_activity WHERE datname = %s AND backend_type = 'client backend'"
LEAVING = 3.0  # seconds in which a connection that was closed may still be seen
INDEXES_FASTER = {"PGOPTIONS": "-c maintenance_work_mem=256MB"}


@dataclass(frozen=True)
class Wish:
    """How a backup is to be restored: over what is there, beside what was there, by how many processes."""

    replace: bool = False
    keep_old: bool = False
    jobs: int = 2


def restore(path: Path, *, superuser: Login, wish: Wish, say: Callable[[str], None]) -> Manifest:
    """Put a backup in the place of the superuser's database. Raises BackupError, and then nothing has changed."""
    name = superuser.database
    with opened(path) as archive, superuser.to("postgres").connect() as server:
        behind = _missing_migrations(path, archive.manifest)
        _require_free(server, superuser, wish)
        with _new_database(server, name) as new:
            say(f"Filling {new} ...")
            _fill(superuser.to(new), archive.dump, wish.jobs)
            say("Comparing it with the backup's manifest ...")
            _require_equal(superuser.to(new), archive.manifest)
            if behind:
                say(f"The backup is of an older version: {behind} migrations are run on it ...")
                _migrate(new)
            old = _exchange(server, name, new)
        if old and wish.keep_old:
            say(f"What was there before is kept as the database {old}.")
        elif old:
            server.execute(sql.SQL("DROP DATABASE {} WITH (FORCE)").format(sql.Identifier(old)))
        return archive.manifest


def _missing_migrations(path: Path, manifest: Manifest) -> int:
    """How many migrations the backup is behind this version. Raises BackupError where it is ahead."""
    # The database's own record isn't asked: there may be none yet.
    loader = MigrationLoader(None, ignore_no_migrations=True)
    known = set(loader.disk_migrations)
    backed_up = {tuple(each) for each in manifest["contents"]["migrations"]}
    squashed = {each for migration in loader.disk_migrations.values() for each in migration.replaces}
    if unknown := sorted(backed_up - known - squashed):
        raise BackupError(
            f"{path} was written by a newer version of Flyround ({manifest['version']}), whose tables this one doesn't "
            f"know ({unknown[0][0]} {unknown[0][1]}): restore it with that version."
        )
    return len(known - backed_up)


def _require_free(server: psycopg.Connection[Any], superuser: Login, wish: Wish) -> None:
    name = superuser.database
    if not _is_there(server, name):
        return
    if not wish.replace and _has_begun(superuser):
        raise BackupError(
            f"The database {name} holds groups or people already, and nothing was changed: restore into an empty one, "
            "or add --replace to give up what is there."
        )
    _require_alone(server, name)


def _require_alone(server: psycopg.Connection[Any], name: str) -> None:
    deadline = time.monotonic() + LEAVING
    while connected := _connected(server, name):
        if time.monotonic() > deadline:
            raise BackupError(
                f"Others are connected to the database {name} ({connected}), and what they write would be lost: stop "
                "the service (web, workers, beat, demo) and restore again."
            )
        time.sleep(0.1)


def _connected(server: psycopg.Connection[Any], name: str) -> int:
    row = server.execute(SESSIONS, [name]).fetchone()
    return int(row[0]) if row else 0


def _is_there(server: psycopg.Connection[Any], name: str) -> bool:
    return server.execute("SELECT FROM pg_database WHERE datname = %s", [name]).fetchone() is not None


def _has_begun(superuser: Login) -> bool:
    with superuser.connect() as database:
        tables = {name for (name,) in database.execute(TABLES).fetchall()}
        if tables and not tables >= set(BEGUN_WITH):
            return True  # somebody else's
        asked = [sql.SQL("SELECT EXISTS (SELECT FROM {})").format(sql.Identifier(name)) for name in BEGUN_WITH]
        return bool(tables) and any(row[0] for each in asked for row in database.execute(each).fetchall())


@contextlib.contextmanager
def _new_database(server: psycopg.Connection[Any], name: str) -> Iterator[str]:
    """A database that is gone again unless the block ends well."""
    new = f"{name}_restoring_{secrets.token_hex(4)}"
    # The owner may not be there yet on a fresh server.
    server.execute((SCRIPTS / "roles.sql").read_bytes())
    server.execute(sql.SQL("CREATE DATABASE {} OWNER flyround_owner TEMPLATE template0").format(sql.Identifier(new)))
    try:
        yield new
    except BaseException:
        server.execute(sql.SQL("DROP DATABASE IF EXISTS {} WITH (FORCE)").format(sql.Identifier(new)))
        raise


def _fill(login: Login, dump: Path, jobs: int) -> None:
    with login.connect() as database:
        database.execute((SCRIPTS / "roles.sql").read_bytes())
    command = [program("pg_restore"), "--exit-on-error", f"--jobs={jobs}", f"--dbname={login.database}", dump]
    run(command, login, environment=INDEXES_FASTER)
    with login.connect() as database:
        database.execute("ANALYZE")


def _require_equal(login: Login, manifest: Manifest) -> None:
    with login.connect() as database:
        told = differences(manifest["contents"], contents_of(database))
    if told:
        raise BackupError(f"What was restored isn't what was backed up, and nothing was changed: {'; '.join(told)}.")


def _migrate(database: str) -> None:
    """This version's migrations, on a database beside the one that the owner's connection leads to."""
    owner = connections["owner"]
    name = owner.settings_dict["NAME"]
    owner.close()
    owner.settings_dict["NAME"] = database
    try:
        call_command("migrate", database="owner", verbosity=0, interactive=False)
    finally:
        owner.close()
        owner.settings_dict["NAME"] = name


def _exchange(server: psycopg.Connection[Any], name: str, new: str) -> str | None:
    """Give the new database the name; what the old one is called now, None where there was none."""
    rename = sql.SQL("ALTER DATABASE {} RENAME TO {}")
    old = f"{name}_before_{secrets.token_hex(4)}" if _is_there(server, name) else None
    try:
        with server.transaction():
            if old:
                _require_alone(server, name)
                server.execute(rename.format(sql.Identifier(name), sql.Identifier(old)))
            server.execute(rename.format(sql.Identifier(new), sql.Identifier(name)))
    except errors.ObjectInUse as error:
        raise BackupError(f"Somebody uses the database {name}: stop the service and restore again.") from error
    return old
