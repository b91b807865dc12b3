"""What the client remembers on this computer, in one SQLite file: rounds that wait, files sent, ids that it made.

Each change is one transaction, so that kill -9 leaves it as it was before or after. A send goes on under a lock that
the system lets go however a process ends, so that two of them don't send the same.
"""

import contextlib
import os
import sqlite3
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Self

from server.client.sign_in import Unusable, private_folder

VERSION = 1
PATIENCE = 60.0  # seconds to wait for another process's transaction, or for its send
FILE = "book.sqlite3"
TABLES = """
CREATE TABLE made_id (
    site TEXT, farm TEXT, what TEXT, id TEXT NOT NULL, PRIMARY KEY (site, farm, what)
) WITHOUT ROWID;
CREATE TABLE round (
    number INTEGER PRIMARY KEY AUTOINCREMENT, site TEXT NOT NULL, farm TEXT NOT NULL, round_id TEXT NOT NULL,
    body TEXT NOT NULL, put_at REAL NOT NULL, refused INTEGER NOT NULL DEFAULT 0, tries INTEGER NOT NULL DEFAULT 0,
    next_at REAL NOT NULL DEFAULT 0, not_before REAL NOT NULL DEFAULT 0, said TEXT NOT NULL DEFAULT '',
    errors TEXT NOT NULL DEFAULT '[]'
);
CREATE TABLE file (
    number INTEGER PRIMARY KEY AUTOINCREMENT, site TEXT NOT NULL, farm TEXT NOT NULL, sha256 TEXT NOT NULL,
    plan TEXT NOT NULL, path TEXT NOT NULL, state TEXT NOT NULL CHECK (state IN ('waiting', 'done', 'refused')),
    key TEXT NOT NULL, import_id TEXT NOT NULL DEFAULT '', stored INTEGER NOT NULL DEFAULT 0,
    known INTEGER NOT NULL DEFAULT 0, refused INTEGER NOT NULL DEFAULT 0, rounds INTEGER NOT NULL DEFAULT 0,
    said TEXT NOT NULL DEFAULT '', UNIQUE (site, farm, sha256, plan)
);
CREATE TABLE refused_row (
    file INTEGER NOT NULL REFERENCES file ON DELETE CASCADE, row INTEGER NOT NULL, errors TEXT NOT NULL
);
CREATE TABLE known (what TEXT PRIMARY KEY, value TEXT NOT NULL, at REAL NOT NULL) WITHOUT ROWID;
"""


class Busy(Exception):
    """Another process is sending, and goes on for longer than we wait."""


@dataclass
class Book:
    """The open file; `with Book(folder) as book:`. Raises Unusable where it can't be read or written."""

    folder: Path

    def __post_init__(self) -> None:
        private_folder(self.folder)
        self.path = self.folder / FILE
        try:
            _make_private(self.path)
            self.db = _opened(self.path)
            self._prepare()
        except (sqlite3.Error, OSError) as error:
            raise Unusable(f"{self.path} can't be used: {error}. Nothing in it was changed.") from error

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.db.close()

    @contextlib.contextmanager
    def change(self) -> Iterator[sqlite3.Connection]:
        """One transaction that writes: all of it or nothing."""
        self.db.execute("BEGIN IMMEDIATE")
        try:
            yield self.db
        except BaseException:
            self.db.execute("ROLLBACK")
            raise
        self.db.execute("COMMIT")

    @contextlib.contextmanager
    def alone(self, what: str, patience: float = PATIENCE) -> Iterator[None]:
        """Hold what only one process may do at a time. Raises Busy after `patience` seconds.

        SQLite's own lock on an empty file: it works on every system, and ends with the process.
        """
        path = self.folder / f"{what}.lock"
        _make_private(path)
        lock = sqlite3.connect(path, timeout=patience, isolation_level=None)
        try:
            lock.execute("BEGIN EXCLUSIVE")
        except sqlite3.OperationalError as error:
            lock.close()
            raise Busy(f"Another flyround is sending {what}. Yours wait in line; see `waiting`.") from error
        try:
            yield
        finally:
            lock.close()

    def known(self, what: str, since: float = 0.0) -> str | None:
        """Something that the service told, noted after `since`; None where it isn't known."""
        row = self.db.execute("SELECT value FROM known WHERE what = ? AND at >= ?", (what, since)).fetchone()
        return None if row is None else str(row["value"])

    def note(self, what: str, value: str, now: float) -> None:
        with self.change() as db:
            db.execute("INSERT OR REPLACE INTO known VALUES (?, ?, ?)", (what, value, now))

    def _prepare(self) -> None:
        with self.change() as db:
            version = db.execute("PRAGMA user_version").fetchone()[0]
            if version > VERSION:
                raise Unusable(f"{self.path} was made by a newer flyround. Use that one.")
            if version == 0:
                for statement in TABLES.split(";\n"):
                    db.execute(statement)
                db.execute(f"PRAGMA user_version = {VERSION}")


def _opened(path: Path) -> sqlite3.Connection:
    db = sqlite3.connect(path, timeout=PATIENCE, isolation_level=None)
    db.row_factory = sqlite3.Row
    # Readers don't wait for a writer; a commit is on the disk before anything is sent.
    db.execute("PRAGMA journal_mode = WAL")
    db.execute("PRAGMA synchronous = FULL")
    db.execute("PRAGMA foreign_keys = ON")
    return db


def _make_private(path: Path) -> None:
    """SQLite gives its other files the mode of this one."""
    with contextlib.suppress(FileExistsError):
        os.close(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600))
