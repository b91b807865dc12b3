"""CSV files on their way: which are done, by what they hold (SHA-256), and which of their rows were refused.

A file that was killed in the middle is asked for under the same key, or the same import is followed on. A file that was
changed holds something else, so it is sent again.
"""

import hashlib
import json
import sqlite3
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Protocol
from urllib.parse import urlencode

from uuid_utils.compat import uuid7

from server.client.answers import Away, Refused
from server.client.book import Book
from server.client.flyround import Flyround, Plan
from server.client.sign_in import Unusable

LOCK = "files"
# As the document of the import says; more would be read by nobody.
MEGABYTES = 5
TOO_LARGE = "{name} has more than {most} MB, the most that an import takes. Split it and send the parts."
CHANGED = "{name} was changed since it was put here. Send it again by its name."
FIGURES = ("stored", "known", "refused", "rounds")
# What says something about the token or the farm, and nothing about the file.
NOT_THE_FILE = (401, 403, 404)


class Watcher(Protocol):
    """Whoever looks on while files are sent."""

    def begins(self, name: str) -> None:
        """A file is being sent."""

    def rows(self, done: int, of: int) -> None:
        """How far the import of a large one is."""

    def ends(self, file: "SentFile") -> None:
        """What became of it."""


@dataclass(frozen=True)
class SentFile:
    """What is remembered of a file: its state is waiting, done or refused; `said` is the sentence of the last try."""

    number: int
    site: str
    farm: str
    sha256: str
    plan: str
    path: str
    state: str
    key: str
    import_id: str
    stored: int
    known: int
    refused: int
    rounds: int
    said: str

    @property
    def name(self) -> str:
        return Path(self.path).name


def csv_files(path: Path) -> list[Path]:
    """A file, or the CSV files that lie in a folder, by name. Raises Unusable where there are none."""
    if not path.is_dir():
        return [path]
    found = [each for each in path.iterdir() if each.suffix.lower() == ".csv" and not each.name.startswith((".", "~"))]
    if not found:
        raise Unusable(f"{path} holds no file whose name ends with .csv. Name another folder.")
    return sorted(each for each in found if each.is_file())


def content_of(path: Path) -> bytes:
    """The bytes of a file. Raises Unusable where it can't be read or is too large."""
    try:
        if path.stat().st_size > MEGABYTES * 1024 * 1024:
            raise Unusable(TOO_LARGE.format(name=path.name, most=MEGABYTES))
        return path.read_bytes()
    except OSError as error:
        raise Unusable(f"{path} can't be read: {error.strerror}.") from error


def note_files(book: Book, where: tuple[str, str], plan: Plan, contents: Iterable[tuple[Path, bytes]]) -> list[int]:
    """Note which files are to be sent to a (site, farm), before the first one goes. Their numbers, in order."""
    numbers = []
    with book.change() as db:
        for path, content in contents:
            sha256, said = hashlib.sha256(content).hexdigest(), urlencode(plan.query())
            # What this path held before and was never sent is not there any more.
            db.execute(
                "DELETE FROM file WHERE state = 'waiting' AND site = ? AND farm = ? AND path = ? AND sha256 <> ?",
                (*where, str(path.resolve()), sha256),
            )
            db.execute(
                "INSERT OR IGNORE INTO file (site, farm, sha256, plan, path, state, key)"
                " VALUES (?, ?, ?, ?, ?, 'waiting', ?)",
                (*where, sha256, said, str(path.resolve()), str(uuid7())),
            )
            found = db.execute(
                "SELECT number FROM file WHERE site = ? AND farm = ? AND sha256 = ? AND plan = ?",
                (*where, sha256, said),
            ).fetchone()
            numbers.append(int(found["number"]))
    return numbers


def file_of(book: Book, number: int) -> SentFile:
    return SentFile(**dict(book.db.execute("SELECT * FROM file WHERE number = ?", (number,)).fetchone()))


def files_noted(book: Book, site: str | None = None) -> list[SentFile]:
    """Every file that is remembered, in the order in which they were noted; of one site, or of all."""
    rows = book.db.execute("SELECT * FROM file WHERE ? IS NULL OR site = ? ORDER BY number", (site, site))
    return [SentFile(**dict(row)) for row in rows.fetchall()]


def refused_rows(book: Book, number: int) -> Iterator[tuple[int, list[dict[str, Any]]]]:
    """The rows of a file that were refused, each with what is wrong."""
    for row in book.db.execute("SELECT row, errors FROM refused_row WHERE file = ? ORDER BY row", (number,)).fetchall():
        yield row["row"], json.loads(row["errors"])


def send_again(book: Book, numbers: Iterable[int]) -> None:
    """Forget what became of files, so that they are sent anew."""
    for number in numbers:
        with book.change() as db:
            _begin_anew(db, number, "")


def forget_file(book: Book, number: int) -> bool:
    """Forget a file; False where there is none of that number."""
    with book.change() as db:
        return db.execute("DELETE FROM file WHERE number = ?", (number,)).rowcount == 1


def send_files(book: Book, flyround: Flyround, numbers: Iterable[int], watcher: Watcher) -> None:
    """Send those files that aren't done yet. Each goes under the lock, so two processes don't send the same.

    Raises Away where the service is away, Busy where another process keeps sending, and Refused where it is the token
    or the farm that isn't taken. What was not sent then stays noted.
    """
    for number in numbers:
        with book.alone(LOCK):
            file = file_of(book, number)
            if file.state == "waiting":
                watcher.begins(file.name)
                _send(book, flyround, file, watcher)
        watcher.ends(file_of(book, number))


def _send(book: Book, flyround: Flyround, file: SentFile, watcher: Watcher) -> None:
    try:
        _store(book, file, _answer(book, flyround, file, watcher))
    except Unusable as unusable:
        _settle(book, file, "waiting", said=str(unusable))
    except Refused as refusal:
        if refusal.status in NOT_THE_FILE:
            raise
        _refuse(book, file, refusal)
    except Away as away:
        with book.change() as db:
            db.execute("UPDATE file SET said = ? WHERE number = ?", (str(away), file.number))
            if away.only_this and file_of(book, file.number).import_id:
                _begin_anew(db, file.number, str(away))
        if not away.only_this:
            raise


def _answer(book: Book, flyround: Flyround, file: SentFile, watcher: Watcher) -> dict[str, Any]:
    """What became of a file at the service: its import followed on where there is one, else handed in."""
    if file.import_id:
        try:
            return flyround.follow_import(file.farm, file.import_id, watcher.rows)
        except Refused as refusal:
            if refusal.status != 404:
                raise
            # Cleared away there: what it stored is known by its ids.
    content = content_of(Path(file.path))
    if hashlib.sha256(content).hexdigest() != file.sha256:
        raise Unusable(CHANGED.format(name=file.name))
    answer = flyround.begin_import(file.farm, content, _plan(file.plan), key=file.key)
    if "state" not in answer:
        return answer
    with book.change() as db:
        db.execute("UPDATE file SET import_id = ? WHERE number = ?", (answer["id"], file.number))
    return flyround.follow_import(file.farm, answer["id"], watcher.rows)


def _plan(said: str) -> Plan:
    words = dict(each.split("=") for each in said.split("&") if each)
    return Plan(words.get("order", ""), atomic="atomic" in words)


def _store(book: Book, file: SentFile, answer: Mapping[str, Any]) -> None:
    """Note that a file is done, and its refused rows, in one go."""
    wrong = [(each["row"], each["errors"]) for each in answer.get("results", ()) if each["outcome"] == "refused"]
    figures = {name: int(answer.get(name) or 0) for name in FIGURES}
    _settle(book, file, "done", wrong, figures=figures)


def _refuse(book: Book, file: SentFile, refusal: Refused) -> None:
    """Note that nothing of a file was stored, and why; the pointers name its rows."""
    wrong: dict[int, list[dict[str, Any]]] = {}
    for error in refusal.errors:
        steps = str(error.get("pointer", "")).strip("/").split("/")
        row = int(steps[1]) if len(steps) > 1 and steps[1].isdecimal() else 0
        wrong.setdefault(row, []).append({"column": steps[-1] if row else "", "reason": error.get("detail", "")})
    _settle(book, file, "refused", list(wrong.items()), said=str(refusal))


def _settle(
    book: Book,
    file: SentFile,
    state: str,
    wrong: Iterable[tuple[int, Any]] = (),
    said: str = "",
    figures: Mapping[str, int] | None = None,
) -> None:
    with book.change() as db:
        db.execute("DELETE FROM refused_row WHERE file = ?", (file.number,))
        rows = [(file.number, row, json.dumps(errors)) for row, errors in wrong]
        db.executemany("INSERT INTO refused_row VALUES (?, ?, ?)", rows)
        db.execute("UPDATE file SET state = ?, said = ? WHERE number = ?", (state, said, file.number))
        db.execute(
            "UPDATE file SET stored = ?, known = ?, refused = ?, rounds = ? WHERE number = ?",
            (*((figures or {}).get(name, 0) for name in FIGURES), file.number),
        )


def _begin_anew(db: sqlite3.Connection, number: int, said: str) -> None:
    """A new key: the answer under the old one is what it was."""
    db.execute("DELETE FROM refused_row WHERE file = ?", (number,))
    db.execute(
        "UPDATE file SET state = 'waiting', import_id = '', key = ?, said = ? WHERE number = ?",
        (str(uuid7()), said, number),
    )
