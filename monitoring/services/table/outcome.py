"""What became of each row of a table, written as JSON by column: fifty thousand rows at once."""

import json
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from itertools import groupby
from operator import attrgetter

from monitoring.rules.table import BadCell, Fault, in_order
from monitoring.services.table.batch import Batch

STORED, KNOWN, REFUSED = "stored", "known", "refused"
OUTCOMES = (STORED, KNOWN, REFUSED)


@dataclass(frozen=True)
class ImportResult:
    """What was stored (in a dry run: would be): new readings, known ones, refused rows, new rounds.

    `bad` is every bad value in order of rows; `items` says of each row, in the order sent, what became of it: the JSON
    text of {"row", "id", "outcome", "errors": [{"column", "value", "code", "reason"}]}.
    """

    stored: int
    known: int
    refused: int
    rounds: int
    bad: Sequence[BadCell]
    items: Sequence[str]


def result_of(batch: Batch, places: range, rounds: int) -> ImportResult:
    """The result of a table's rows at these places, once they are stored."""
    faults = in_order(batch.faults)
    items = _all_stored(batch, places)
    for place in batch.known:
        items[place - places.start] = _item(batch.table.row(place), batch.reading_ids[place], KNOWN, "[]")
    refused = 0
    for place, wrong in groupby(faults, attrgetter("place")):
        items[place - places.start] = _refused(batch, place, list(wrong))
        refused += 1
    bad = [batch.table.bad_cell(fault) for fault in faults]
    return ImportResult(len(batch.good), len(batch.known), refused, rounds, bad, items)


def _all_stored(batch: Batch, places: range) -> list[str]:
    begin, end = places.start, places.stop
    rows = batch.table.rows if batch.table.rows is not None else range(end)
    pairs = zip(rows[begin:end], batch.reading_ids[begin:end], strict=True)
    return [f'{{"row":{row},"id":"{each}","outcome":"stored","errors":[]}}' for row, each in pairs]


def _item(row: int, reading_id: str | None, outcome: str, errors: str) -> str:
    return f'{{"row":{row},"id":{json.dumps(reading_id)},"outcome":"{outcome}","errors":{errors}}}'


def _refused(batch: Batch, place: int, wrong: Sequence[Fault]) -> str:
    """A row that was refused goes by the id that it came with, if it had one."""
    errors = []
    for fault in wrong:
        told = asdict(batch.table.bad_cell(fault))
        del told["row"]
        errors.append(told)
    return _item(batch.table.row(place), batch.columns.id[place], REFUSED, json.dumps(errors))
