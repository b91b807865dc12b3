"""The life of a long import: asked for, claimed, done part by part, ended.

The row is the queue. A worker claims it by compare-and-set and keeps it by moving `due_at` on, part by part; whoever
falls silent loses it. All times of this are the database's, one clock for all workers.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import count
from typing import Any
from uuid import UUID

from django.db.models import F, QuerySet
from django.db.models.functions import Now

from farms.access import Who
from farms.models import ApiToken, Farm
from monitoring.models import Import, ImportContent, ImportPart
from monitoring.models.imports import UNFINISHED, ImportState
from monitoring.services.table import ImportPlan, ImportResult

# Longer than any part takes, and short enough that somebody who waits sees it go on.
LEASE = timedelta(minutes=2)
# A waiting one is rung for again after this long.
RING_AGAIN = timedelta(minutes=1)
PAUSE = timedelta(seconds=20)
MOST_ATTEMPTS = 5
# Results are kept as one text for so many rows, and read from it.
ROWS_IN_A_PART = 5_000
RESULTS_KEPT = timedelta(days=30)


@dataclass(frozen=True)
class ImportSent:
    """What was sent and how it is to be taken. `order` is that of day and month in a file's dates."""

    content: bytes
    form: str
    plan: ImportPlan
    language: str
    order: str = ""


@dataclass(frozen=True)
class Waiting:
    """An import that waits, and whoever it waits for: one of the two ids."""

    farm_id: UUID
    id: UUID
    user_id: UUID | None
    token_id: UUID | None


class ImportLost(Exception):
    """Another worker has this import by now, or it has ended: what is left is not ours to do."""


def request_import(*, farm: Farm, sent: ImportSent, who: Who, now: datetime) -> Import:
    """Take a table in, to be stored by a worker. Results of imports that ended a month ago make room."""
    old = Import.objects.filter(farm_id=farm.id, ended_at__lt=now - RESULTS_KEPT)
    ImportPart.objects.filter(farm_id=farm.id, import_id__in=old.values("id")).delete()
    by_token = isinstance(who, ApiToken)
    plan = sent.plan
    made = Import.objects.create(
        farm_id=farm.id, user_id=None if by_token else who.id, token_id=who.id if by_token else None,
        language=sent.language, form=sent.form, order=sent.order, source=plan.source, dry_run=plan.dry_run,
        atomic=plan.atomic, due_at=Now() + RING_AGAIN, made_at=now,
    )  # fmt: skip
    ImportContent.objects.create(farm_id=farm.id, id=made.id, content=sent.content)
    return made


def ring_due(most: int = 100) -> list[Waiting]:
    """Those that wait, or whose worker fell silent, the oldest first; not told again for a while."""
    due = Import.objects.filter(state__in=UNFINISHED, due_at__lte=Now()).order_by("due_at")
    found = [Waiting(*row) for row in due.values_list("farm_id", "id", "user_id", "token_id")[:most]]
    for each in found:
        _unfinished(each).filter(state=ImportState.WAITING).update(due_at=Now() + RING_AGAIN)
    return found


def claim_import(waiting: Waiting, *, now: datetime) -> Import | None:
    """The import as ours, or None: another has it, or it has ended. One that was tried too often ends here."""
    free = _unfinished(waiting).filter(state=ImportState.WAITING)
    silent = _unfinished(waiting).filter(state=ImportState.RUNNING, due_at__lte=Now())
    ours = {"state": ImportState.RUNNING, "due_at": Now() + LEASE, "attempts": F("attempts") + 1}
    if not (free.update(**ours) or silent.update(**ours)):
        return None
    claimed = Import.objects.get(farm_id=waiting.farm_id, id=waiting.id)
    if claimed.attempts <= MOST_ATTEMPTS:
        return claimed
    end_import(claimed, state=ImportState.FAILED, problem=None, now=now)
    return None


def keep_import(claimed: Import) -> None:
    """Keep it ours until the transaction ends, and for a while after. Raises ImportLost."""
    if not _ours(claimed).update(due_at=Now() + LEASE):
        raise ImportLost


def note_rows(claimed: Import, rows: int) -> None:
    """How many there are."""
    claimed.rows = rows
    _ours(claimed).update(rows=rows)


def note_part(claimed: Import, result: ImportResult, *, since: int | None, now: datetime) -> None:
    """What became of the next rows, in the transaction that stored them. With the last of them it has ended."""
    first = claimed.rows_done
    parts = [
        ImportPart(
            farm_id=claimed.farm_id, import_id=claimed.id, first=first + place,
            rows=len(items), results=f"[{','.join(items)}]",
        )
        for place, items in zip(count(0, ROWS_IN_A_PART), result.items.pieces(ROWS_IN_A_PART), strict=False)
    ]  # fmt: skip
    ImportPart.objects.bulk_create(parts)
    claimed.rows_done, claimed.since = first + len(result.items), since
    sums = {name: F(name) + getattr(result, name) for name in ("stored", "known", "refused", "rounds")}
    _ours(claimed).update(rows_done=claimed.rows_done, since=since, **sums)
    if claimed.rows_done == claimed.rows:
        end_import(claimed, state=ImportState.DONE, problem=None, now=now)


def end_import(claimed: Import, *, state: ImportState, problem: Mapping[str, Any] | None, now: datetime) -> None:
    """End it, and delete what was sent. Raises ImportLost."""
    if not _ours(claimed).update(state=state, problem=problem, ended_at=now):
        raise ImportLost
    ImportContent.objects.filter(farm_id=claimed.farm_id, id=claimed.id).delete()


def give_back(claimed: Import) -> None:
    """Let it be taken up again after a pause."""
    _ours(claimed).update(due_at=Now() + PAUSE)


def shut_out(waiting: Waiting, *, problem: Mapping[str, Any], now: datetime) -> None:
    """End one whose sender may not store here any more; done by the worker's role, since nobody else sees it."""
    if _unfinished(waiting).update(state=ImportState.REFUSED, problem=problem, ended_at=now):
        ImportContent.objects.filter(farm_id=waiting.farm_id, id=waiting.id).delete()


def _unfinished(waiting: Waiting) -> QuerySet[Import]:
    return Import.objects.filter(
        farm_id=waiting.farm_id, id=waiting.id, user_id=waiting.user_id, token_id=waiting.token_id,
        state__in=UNFINISHED,
    )  # fmt: skip


def _ours(claimed: Import) -> QuerySet[Import]:
    # The number of attempts is ours: whoever claimed it after us has a higher one.
    return Import.objects.filter(
        farm_id=claimed.farm_id, id=claimed.id, state=ImportState.RUNNING, attempts=claimed.attempts
    )
