"""The whole way of a table: judged, compared with what is stored, stored, chained, summed up."""

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from datetime import datetime

from django.db import transaction

from farms.ledger import Actor, append, lock_heads, next_number
from farms.models import Farm, LedgerHead
from monitoring.errors import TableRefused, TooManyRows
from monitoring.models import Round
from monitoring.models.round import Source
from monitoring.rules.collecting import collected_later
from monitoring.rules.table import MOST_NAMED, MOST_ROWS, ReadingTable
from monitoring.services.ground import ground_of
from monitoring.services.reading import Came
from monitoring.services.summary import refresh_summaries
from monitoring.services.table.batch import Batch, batch_of
from monitoring.services.table.chain import hashes_of
from monitoring.services.table.known import take_out_known
from monitoring.services.table.outcome import ImportResult, result_of
from monitoring.services.table.rows import Rows, rows_of
from monitoring.services.table.store import arrive, insert_arrived


@dataclass(frozen=True)
class ImportPlan:
    """How a table is to be taken: looked at only, all of it or nothing, and how it came (models.round.Source)."""

    dry_run: bool = False
    atomic: bool = False
    source: str = Source.FILE.value


@collected_later()
def judged_table(*, farm: Farm, table: ReadingTable, now: datetime) -> Batch:
    """A table with what is wrong in itself named. Raises TooManyRows."""
    if len(table.columns) > MOST_ROWS:
        raise TooManyRows(rows=f"{MOST_ROWS:,}")
    return batch_of(table, ground_of(farm, now))


@transaction.atomic
def record_table(*, farm: Farm, table: ReadingTable, plan: ImportPlan, actor: Actor, now: datetime) -> ImportResult:
    """Store a table's good readings, with the rounds and placements that follow, as one entry of the chain.

    The same table sent twice is stored once. Raises TooManyRows; TableRefused where the plan is atomic, no dry run, and
    any value is bad; Missing for a farm that may not be written.
    """
    head = lock_heads([farm.id])[farm.id]
    batch = judged_table(farm=farm, table=table, now=now)
    return _take(batch, range(len(table.columns)), head, plan=plan, came=(actor, now))


@transaction.atomic
def record_part(
    *, batch: Batch, places: range, since: int | None, plan: ImportPlan, actor: Actor, now: datetime
) -> tuple[ImportResult, int]:
    """Store the good ones among some rows of a judged table, as an entry of the chain; and the entry it began with.

    Part by part in their order, that is the same as all at once. `since` is the entry of the first, None for the first.
    """
    farm = batch.ground.farm
    head = lock_heads([farm.id])[farm.id]
    first = next_number(head) if since is None else since
    return _take(batch.part(places, first), places, head, plan=plan, came=(actor, now)), first


@collected_later()
def _take(
    batch: Batch, places: range, head: LedgerHead, *, plan: ImportPlan, came: tuple[Actor, datetime]
) -> ImportResult:
    farm, (actor, now) = batch.ground.farm, came
    there = take_out_known(batch)
    if batch.faults and plan.atomic and not plan.dry_run:
        raise _refusal(batch)
    rows = rows_of(batch, Came(farm, next_number(head), now), actor, source=plan.source, placements=there)
    rounds = _new_rounds(farm, rows)
    if rows.number and not plan.dry_run:
        _store(rows, rounds, now, head=head, actor=actor)
    return result_of(batch, places, len(rounds))


def _refusal(batch: Batch) -> TableRefused:
    faults = batch.faults
    return TableRefused(
        errors=batch.table.details(faults), cells=len(faults), more=max(len(faults) - MOST_NAMED, 0)
    )  # fmt: skip


def _new_rounds(farm: Farm, rows: Rows) -> list[Round]:
    """The rounds that aren't there yet: a later table may add to the round of a day."""
    ids = [each.id for each in rows.rounds]
    there = set(Round.objects.filter(farm_id=farm.id, id__in=ids).values_list("id", flat=True)) if ids else set()
    return [each for each in rows.rounds if each.id not in there]


def _store(rows: Rows, rounds: list[Round], now: datetime, *, head: LedgerHead, actor: Actor) -> None:
    arrive(rows)
    # The rows are hashed while the database inserts them.
    with ThreadPoolExecutor(max_workers=1) as aside:
        hashing = aside.submit(hashes_of, rows, rounds)
        insert_arrived(rows, rounds)
        refresh_summaries(farm_ids=[head.farm_id], weeks=rows.weeks)
    append(head, kind="import", actor=actor, row_hashes=hashing.result(), now=now)
