"""Taking a backup: one snapshot for the dump and for the manifest, so that it may be taken while the service runs."""

import contextlib
import hashlib
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import psycopg

from server.backup.archive import FORMAT, Manifest, new_file, write_dump, write_manifest
from server.backup.contents import contents_of
from server.backup.errors import BackupError
from server.backup.login import Login
from server.backup.programs import program, reading_from

# Every pg_restore can read it; harder compression costs more than it saves.
COMPRESSION = "gzip:4"


def take(target: Path, *, login: Login, version: str, now: datetime) -> tuple[Path, Manifest]:
    """Write the whole database to `target`, or to a file of its own in that folder. Raises BackupError."""
    if target.is_dir():
        target /= f"flyround-{now.astimezone(UTC):%Y%m%d-%H%M%S}.backup"
    with new_file(target) as file, _snapshot(login) as (connection, snapshot):
        made = {"format": FORMAT, "version": version, "taken_at": now.astimezone(UTC).isoformat()}
        contents = contents_of(connection)
        if not contents:
            raise BackupError("There is nothing to back up: the database holds no tables of Flyround yet.")
        command = [program("pg_dump"), "--format=custom", f"--compress={COMPRESSION}", f"--snapshot={snapshot}"]
        with reading_from(command, login) as dump:
            made["dump"] = write_dump(file, dump)
        manifest = made | {"server": _server(connection), "contents": contents}
        write_manifest(file, manifest)
    return target, manifest


@contextlib.contextmanager
def _snapshot(login: Login) -> Iterator[tuple[psycopg.Connection[Any], str]]:
    with login.connect(autocommit=False) as connection:
        connection.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ, READ ONLY")
        row = connection.execute("SELECT pg_export_snapshot()").fetchone()
        assert row  # noqa: S101 - a function without FROM has one row
        yield connection, row[0]


def _server(connection: psycopg.Connection[Any]) -> str:
    row = connection.execute("SHOW server_version").fetchone()
    assert row  # noqa: S101 - as above
    return str(row[0])


def sha256_of(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()
