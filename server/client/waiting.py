"""The line of rounds that wait to be sent: every round goes through it, so that none is lost on the way.

A round leaves the line when the service has said that it is stored. Where that answer was lost it is sent again, with
the same ids, and stored once. A refusal stays, with its sentence, until somebody puts it back or takes it away.
"""

import json
import sqlite3
import time
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from server.client.answers import Away, Refused
from server.client.book import Book
from server.client.flyround import Flyround
from server.client.ids import with_ids

LOCK = "rounds"
# How long what the service's document says is believed.
A_DAY = 86_400.0  # seconds
TOKEN_REFUSED = 401


@dataclass(frozen=True)
class WaitingRound:
    """A round in the line: where it goes, what it says, and how it went so far. Times are seconds since 1970."""

    number: int
    site: str
    farm: str
    round_id: str
    body: dict[str, Any]
    put_at: float
    refused: bool
    tries: int
    next_at: float
    not_before: float
    said: str
    errors: list[dict[str, Any]]

    @classmethod
    def of_row(cls, row: sqlite3.Row) -> "WaitingRound":
        values = dict(row)
        return cls(**{
            **values,
            "refused": bool(values["refused"]),
            "body": json.loads(values["body"]),
            "errors": json.loads(values["errors"]),
        })  # fmt: skip

    @property
    def walked_on(self) -> str:
        return str(self.body.get("walked_on", ""))


def put_in_line(book: Book, site: str, farm: str, bodies: Iterable[Mapping[str, Any]]) -> list[str]:
    """Put rounds at the end of the line, all or none, each with its ids. Their ids, in order."""
    with book.change() as db:
        return [_put(db, site, farm, body) for body in bodies]


def _put(db: sqlite3.Connection, site: str, farm: str, body: Mapping[str, Any]) -> str:
    """One round; what is in the line already doesn't wait twice, but what was refused takes its turn anew."""
    round_id, body = with_ids(db, site, farm, body)
    where = (site, farm, round_id)
    rows = db.execute("SELECT * FROM round WHERE site = ? AND farm = ? AND round_id = ?", where).fetchall()
    same = [row for row in rows if _said_the_same(json.loads(row["body"]), body)]
    if any(not row["refused"] for row in same):
        return round_id
    db.executemany("DELETE FROM round WHERE number = ?", [(row["number"],) for row in same])
    sent = {**body, "submitted_at": body.get("submitted_at") or datetime.now(UTC).isoformat()}
    db.execute(
        "INSERT INTO round (site, farm, round_id, body, put_at) VALUES (?, ?, ?, ?, ?)",
        (*where, json.dumps(sent), time.time()),
    )
    return round_id


def _said_the_same(waiting: dict[str, Any], body: dict[str, Any]) -> bool:
    """Whether a round in the line is this one; the line itself wrote when it was first sent."""
    when = {"submitted_at": waiting.get("submitted_at")}
    return waiting == when | body


def in_line(book: Book, site: str | None = None) -> list[WaitingRound]:
    """Everything in the line, refused rounds too, in order; of one site, or of all."""
    rows = book.db.execute("SELECT * FROM round WHERE ? IS NULL OR site = ? ORDER BY number", (site, site))
    return [WaitingRound.of_row(row) for row in rows.fetchall()]


def is_due(book: Book, site: str, farm: str) -> bool:
    """Whether something waits, and the pause after the last try of what is first in line is over."""
    row = _next(book, site, farm, after=0)
    return row is not None and row.next_at <= time.time()


def put_back(book: Book, number: int) -> bool:
    """Give a refused round another try; False where there is none of that number."""
    with book.change() as db:
        changed = db.execute(
            "UPDATE round SET refused = 0, tries = 0, next_at = 0, not_before = 0 WHERE number = ?", (number,)
        )
    return changed.rowcount == 1


def take_away(book: Book, number: int) -> bool:
    """Drop a round from the line, sent or not; False where there is none of that number."""
    with book.change() as db:
        return db.execute("DELETE FROM round WHERE number = ?", (number,)).rowcount == 1


@dataclass
class Sent:
    """What became of the line: rounds stored now, those refused now, and why it stopped, if it did."""

    stored: int
    refused: list[WaitingRound]
    away: Away | None = None


def send_line(book: Book, flyround: Flyround, farm: str, *, told: Callable[[], None] = lambda: None) -> Sent:
    """Send what waits for a farm, in order, until nothing is left or the service is away. `told` hears of each round.

    Only the farm that the token is for: another's rounds would be refused though nothing is wrong with them.

    Each is sent under the lock, so that two processes share the line without sending the same. Raises Busy where
    another one keeps it, and Refused for a token that isn't taken: that says nothing of the rounds.
    """
    sent = Sent(0, [])
    after = 0
    while True:
        with book.alone(LOCK):
            waiting = _next(book, flyround.site, farm, after)
            if waiting is None:
                return sent
            after = waiting.number
            if waiting.not_before > time.time():
                sent.away = Away(waiting.said, after=waiting.not_before - time.time())
                return sent
            _send(book, flyround, waiting, sent)
        told()
        if sent.away is not None and not sent.away.only_this:
            return sent


def _next(book: Book, site: str, farm: str, after: int) -> WaitingRound | None:
    row = book.db.execute(
        "SELECT * FROM round WHERE site = ? AND farm = ? AND NOT refused AND number > ? ORDER BY number LIMIT 1",
        (site, farm, after),
    ).fetchone()
    return None if row is None else WaitingRound.of_row(row)


def _send(book: Book, flyround: Flyround, waiting: WaitingRound, sent: Sent) -> None:
    """One try of one round, and what became of it, noted in the line."""
    try:
        say_sent_at = _knows_sent_at(book, flyround)
        flyround.send_round(waiting.farm, waiting.round_id, waiting.body, say_sent_at=say_sent_at)
    except Refused as refusal:
        if refusal.status == TOKEN_REFUSED:
            raise
        _note_refusal(book, waiting, refusal)
        sent.refused.append(waiting_round(book, waiting.number))
    except Away as away:
        _note_try(book, flyround, waiting, away)
        sent.away = away
    else:
        take_away(book, waiting.number)
        sent.stored += 1


def waiting_round(book: Book, number: int) -> WaitingRound:
    return WaitingRound.of_row(book.db.execute("SELECT * FROM round WHERE number = ?", (number,)).fetchone())


def _note_refusal(book: Book, waiting: WaitingRound, refusal: Refused) -> None:
    with book.change() as db:
        db.execute(
            "UPDATE round SET refused = 1, tries = tries + 1, said = ?, errors = ? WHERE number = ?",
            (str(refusal), json.dumps(refusal.errors), waiting.number),
        )


def _note_try(book: Book, flyround: Flyround, waiting: WaitingRound, away: Away) -> None:
    now = time.time()
    next_at = now + max(away.after, flyround.patience.until_next(waiting.tries))
    with book.change() as db:
        db.execute(
            "UPDATE round SET tries = tries + 1, next_at = ?, not_before = ?, said = ? WHERE number = ?",
            (next_at, now + away.after if away.after else 0, str(away), waiting.number),
        )


def _knows_sent_at(book: Book, flyround: Flyround) -> bool:
    """Whether the service takes a round's sent_at: its document says so, looked up once a day."""
    what, now = f"{flyround.site} round fields", time.time()
    known = book.known(what, since=now - A_DAY)
    if known is None:
        known = " ".join(sorted(flyround.round_fields()))
        book.note(what, known, now)
    return "sent_at" in known.split()
