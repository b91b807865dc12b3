"""Everything that is due to be erased, one thing after the other: each in a transaction of its own."""

import logging
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any
from uuid import UUID

from django.db import DatabaseError, connections

from server.erasing.farm import FarmGone, erase_farm, look_at_farm
from server.erasing.person import PersonGone, StillNeeded, erase_asked_account, erase_asked_counter

logger = logging.getLogger(__name__)
TRIES = 3  # somebody may write a row of the farm in the moment in which it is emptied


@dataclass(frozen=True)
class Told:
    """What became of one wish, or would: no name, and of a farm not even its id."""

    what: str
    request_id: UUID
    rows: Mapping[str, int] = field(default_factory=dict)
    people: int = 0
    words: int = 0
    waits: bool = False
    failed: bool = False

    def sentence(self, *, dry: bool) -> str:
        head = f"{self.what}, request {self.request_id}: "
        if self.failed:
            return head + "could not be erased; the log says why."
        if self.waits:
            return head + "waits, since a farm would have no owner or a group's role lasts."
        if not self.rows and dry:
            return head + "would be erased."
        told = f"{sum(self.rows.values()):,} rows" + (f", {self.words:,} texts" if self.words else "")
        told += f", {self.people} people who belong nowhere else" if self.people else ""
        tables = "".join(f"\n    {number:>9,}  {table}" for table, number in self.rows.items() if table != "own")
        return f"{head}{told} {'would go' if dry else 'erased'}.{tables}"

    def as_plain(self) -> dict[str, Any]:
        state = "failed" if self.failed else "waits" if self.waits else "due"
        return {
            "what": self.what, "request": str(self.request_id), "rows": dict(self.rows), "people": self.people,
            "words": self.words, "state": state,
        }  # fmt: skip


def look_at_due(*, now: datetime, using: str) -> Iterator[Told]:
    """What would go."""
    for farm_id, request_id, person_id, _words in _asked("erasures_due", now, using):
        if person_id is not None:
            yield Told("A person who counts", request_id)
        elif (gone := look_at_farm(farm_id, request_id, now=now, using=using)) is not None:
            yield _of_farm(gone)
    for request_id, _user_id, _words in _asked("accounts_to_erase", now, using):
        yield Told("An account", request_id)


def erase_due(*, now: datetime, using: str) -> Iterator[Told]:
    """Erase what is due: people who count, accounts, then farms. What fails is told, and the rest goes on."""
    asked = _asked("erasures_due", now, using)
    for farm_id, request_id, person_id, _words in sorted(asked, key=lambda each: each[2] is None):
        if person_id is not None:
            counter = _try(erase_asked_counter, "A person who counts", farm_id, request_id, now=now, using=using)
            yield from _told("A person who counts", counter)
        else:
            yield from _told("A farm", _try(erase_farm, "A farm", farm_id, request_id, now=now, using=using))
    for request_id, user_id, _words in _asked("accounts_to_erase", now, using):
        account = _try(erase_asked_account, "An account", request_id, user_id, now=now, using=using, request=request_id)
        yield from _told("An account", account)


def _try(act: Callable[..., Any], what: str, *ids: UUID, request: UUID | None = None, **how: Any) -> Any:
    request_id = request or ids[1]
    for tried in range(1, TRIES + 1):
        try:
            return act(*ids, **how)
        except StillNeeded:
            return Told(what, request_id, waits=True)
        except DatabaseError:
            if tried == TRIES:
                logger.exception("Erasing failed: %s, request %s", what, request_id)
    return Told(what, request_id, failed=True)


def _told(what: str, gone: FarmGone | PersonGone | Told | None) -> Iterator[Told]:
    if isinstance(gone, Told):
        yield gone
    elif isinstance(gone, FarmGone):
        yield _of_farm(gone)
    elif gone is not None and gone.request_id is not None:
        yield Told(what, gone.request_id, rows={"own": gone.rows}, words=gone.words)


def _of_farm(gone: FarmGone) -> Told:
    return Told("A farm", gone.request_id, rows=gone.rows, people=gone.people)


def _asked(function: str, now: datetime, using: str) -> list[tuple[Any, ...]]:
    with connections[using].cursor() as cursor:
        cursor.execute(f"SELECT * FROM {function}(%s)", [now])  # noqa: S608 - one of the two names above
        return list(cursor.fetchall())
