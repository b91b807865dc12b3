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
from monitoring.rules.table import MOST_NAMED, MOST_ROWS, BadCell, ReadingTable, in_order
from monitoring.services.ground import ground_of
from monitoring.services.reading import Came
from monitoring.services.summary import refresh_summaries
from monitoring.services.table.batch import Batch, batch_of
from monitoring.services.table.chain import hashes_of
from monitoring.services.table.known import take_out_known
from monitoring.services.table.rows import Rows, rows_of
from monitoring.services.table.store import arrive, insert_arrived


@dataclass(frozen=True)
class ImportPlan:
    """How a table is to be taken: looked at only, its good rows only, and how it came (models.round.Source)."""

    dry_run: bool = False
    partial: bool = False
    source: str = Source.FILE.value


@dataclass(frozen=True)
class ImportResult:
    """What was stored (in a dry run: would be): new readings, known ones, new rounds; and the bad cells.

    `bad` names at most a hundred, in order of rows; `more_bad` says how many more there are.
    """

    stored: int
    known: int
    rounds: int
    bad: tuple[BadCell, ...] = ()
    more_bad: int = 0


@transaction.atomic
def record_table(*, farm: Farm, table: ReadingTable, plan: ImportPlan, actor: Actor, now: datetime) -> ImportResult:
    """Store a table's readings, with the rounds and placements that follow from them, as one entry of the chain.

    The same table sent twice is stored once. Raises TooManyRows; TableRefused where any cell is bad, unless the plan is
    a dry run or partial; Missing for a farm that may not be written.
    """
    head = lock_heads([farm.id])[farm.id]
    if len(table.columns) > MOST_ROWS:
        raise TooManyRows(rows=f"{MOST_ROWS:,}")
    came = Came(farm, next_number(head), now)
    batch = batch_of(table, ground_of(farm, now))
    known, placements = take_out_known(batch)
    if batch.faults and not (plan.dry_run or plan.partial):
        raise _refusal(batch)
    rows = rows_of(batch, came, actor, source=plan.source, placements=placements)
    rounds = _new_rounds(farm, rows)
    if rows.number and not plan.dry_run:
        _store(rows, rounds, came, head=head, actor=actor)
    bad = tuple(table.bad_cell(fault) for fault in in_order(batch.faults)[:MOST_NAMED])
    return ImportResult(rows.number, known, len(rounds), bad, len(batch.faults) - len(bad))


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


def _store(rows: Rows, rounds: list[Round], came: Came, *, head: LedgerHead, actor: Actor) -> None:
    arrive(rows)
    # The rows are hashed while the database inserts them.
    with ThreadPoolExecutor(max_workers=1) as aside:
        hashing = aside.submit(hashes_of, rows, rounds)
        insert_arrived(rows, rounds)
        refresh_summaries(farm_ids=[came.farm.id], weeks=rows.weeks)
    append(head, kind="import", actor=actor, row_hashes=hashing.result(), now=came.now)
