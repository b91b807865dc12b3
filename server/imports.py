"""A long import, done step by step for whoever sent it: each step is one transaction, and asks at the door again."""

import logging
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import datetime
from functools import partial
from typing import Any
from uuid import UUID

from django.db import transaction
from django.utils import timezone, translation
from kombu.exceptions import OperationalError

from farms.access import Need, Who, actor_on, farm_for
from farms.errors import FlyroundError, Forbidden, Missing
from farms.models import Farm
from farms.selectors import who_sent
from monitoring.csv_import import read_csv
from monitoring.errors import ImportFailed
from monitoring.models import Import
from monitoring.models.imports import ImportState
from monitoring.rules.table import ReadingTable, table_of_rows
from monitoring.selectors import content_of
from monitoring.services import (
    ImportLost,
    ImportPlan,
    ImportSent,
    Waiting,
    claim_import,
    end_import,
    give_back,
    judged_table,
    keep_import,
    note_part,
    note_rows,
    record_part,
    request_import,
    shut_out,
)
from monitoring.services.imports import ROWS_IN_A_PART
from monitoring.services.table.batch import Batch
from server.api.parsing import read_json, readings_in
from server.api.problems import Problem, problem_of
from server.celery import app

log = logging.getLogger(__name__)


@dataclass
class Run:
    """An import that this process has claimed. `batch` is its table, once it is read and judged."""

    waiting: Waiting
    claimed: Import
    batch: Batch | None = field(default=None, repr=False)


def take_in(*, farm: Farm, sent: ImportSent, who: Who, now: datetime) -> Import:
    """Take a table in and ring for a worker, as soon as it is stored."""
    made = request_import(farm=farm, sent=sent, who=who, now=now)
    waiting = Waiting(made.farm_id, made.id, made.user_id, made.token_id)
    transaction.on_commit(partial(ring, "do_import", waiting))
    return made


def ring(task: str, waiting: Waiting) -> None:
    """Ring for a worker. Where the broker is gone nothing is lost: beat rings again for what waits."""
    names = [str(each) if each else None for each in (waiting.farm_id, waiting.id, waiting.user_id, waiting.token_id)]
    try:
        app.send_task(f"server.tasks.{task}", names, retry=False)
    except (OperationalError, OSError) as error:
        log.warning("The broker doesn't answer, so an import waits for beat: %s", error)


def named(farm_id: str, import_id: str, user_id: str | None, token_id: str | None) -> Waiting:
    """The import that a message names."""
    user, token = (UUID(each) if each else None for each in (user_id, token_id))
    return Waiting(UUID(farm_id), UUID(import_id), user, token)


def begin(waiting: Waiting, now: datetime) -> Run | None:
    """The import as this process's, where it waits for somebody who may still store here; else None."""
    with transaction.atomic():
        if not _let_in(waiting):
            # Row security hides it from us as from its sender: the worker's role ends it.
            ring("shut_import", waiting)
            return None
        claimed = claim_import(waiting, now=now)
    return Run(waiting, claimed) if claimed else None


def go_on(run: Run, now: datetime) -> bool:
    """Do the next part of an import. False: there is no more to do here."""
    try:
        with translation.override(run.claimed.language):
            return _step(run, now)
    except ImportLost:
        return False
    except (Missing, Forbidden):
        ring("shut_import", run.waiting)
        return False
    except FlyroundError as refusal:
        _refuse(run, refusal, now)
        return False
    except Exception:
        # Whatever it was, the next try begins where this one stood; after a few it has failed.
        _give_back(run)
        raise


def shut(waiting: Waiting, now: datetime) -> None:
    """End an import whose sender may not come in any more. For the worker's role."""
    with transaction.atomic():
        shut_out(waiting, problem=told(Forbidden()), now=now)


def told(refusal: FlyroundError) -> dict[str, Any]:
    """A refusal as an import keeps it: as the API would have answered it."""
    problem = problem_of(refusal) or Problem.plain(500)
    return {"code": problem.code, "detail": problem.detail, "errors": problem.errors}


def problem_of_import(imported: Import) -> Mapping[str, Any] | None:
    """Why an import didn't end well; None where it did, or hasn't ended."""
    if imported.state == ImportState.FAILED:
        return told(ImportFailed())
    problem: Mapping[str, Any] | None = imported.problem
    return problem


def _let_in(waiting: Waiting) -> tuple[Who, Farm] | None:
    """Act for whoever sent it, and ask at the farm's door."""
    who = who_sent(
        farm_id=waiting.farm_id, user_id=waiting.user_id, token_id=waiting.token_id, now=timezone.now()
    )  # fmt: skip
    try:
        return (who, farm_for(who, waiting.farm_id, needs=Need.RECORD)) if who else None
    except (Missing, Forbidden):
        return None


@transaction.atomic
def _step(run: Run, now: datetime) -> bool:
    """Read and judge the table, or store the next part of it."""
    let_in = _let_in(run.waiting)
    if let_in is None:
        raise Forbidden
    who, farm = let_in
    claimed = run.claimed
    keep_import(claimed)
    if run.batch is None:
        run.batch = judged_table(farm=farm, table=_table(claimed), now=now)
        note_rows(claimed, len(run.batch.columns))
        return True
    plan = ImportPlan(claimed.dry_run, claimed.atomic, claimed.source)
    places, rows = _next_places(claimed), len(run.batch.columns)
    result, since = record_part(
        batch=run.batch, places=places, since=claimed.since, plan=plan, actor=actor_on(who, farm.id), now=now
    )
    note_part(claimed, result, since=since, now=now)
    return places.stop < rows


def _table(claimed: Import) -> ReadingTable:
    content = content_of(claimed)
    if claimed.form == "csv":
        return read_csv(content, order=claimed.order or None)
    return table_of_rows(readings_in(read_json(content)))


def _next_places(claimed: Import) -> range:
    """The rows to be done next: all of them where it is all or nothing, or where nothing is stored."""
    rows = claimed.rows or 0
    whole = claimed.atomic or claimed.dry_run
    return range(claimed.rows_done, rows if whole else min(claimed.rows_done + ROWS_IN_A_PART, rows))


def _refuse(run: Run, refusal: FlyroundError, now: datetime) -> None:
    with suppress(ImportLost), transaction.atomic():
        if _let_in(run.waiting):
            end_import(run.claimed, state=ImportState.REFUSED, problem=told(refusal), now=now)


def _give_back(run: Run) -> None:
    with transaction.atomic():
        if _let_in(run.waiting):
            give_back(run.claimed)
