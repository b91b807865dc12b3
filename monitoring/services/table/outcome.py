"""What became of each row of a table, written as JSON by column: fifty thousand rows at once."""

import json
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby, islice
from operator import attrgetter
from typing import Any

from monitoring.rules.table import MOST_NAMED, MOST_OF_A_ROW, BadCell, Fault, in_order, shown
from monitoring.services.table.batch import Batch

STORED, KNOWN, REFUSED = "stored", "known", "refused"
OUTCOMES = (STORED, KNOWN, REFUSED)


@dataclass(frozen=True)
class ImportResult:
    """What was stored (in a dry run: would be): new readings, known ones, refused rows, new rounds.

    `bad` is the first hundred bad values in order of rows; `more_bad` says how many more there are. `items` say of
    each row, in the order sent, what became of it: JSON texts of {"row", "id", "outcome", "errors": [{"column",
    "value", "code", "reason"}]}, with three errors at most.
    """

    stored: int
    known: int
    refused: int
    rounds: int
    bad: Sequence[BadCell]
    more_bad: int
    items: "Items"


def result_of(batch: Batch, places: range, rounds: int) -> ImportResult:
    """The result of a table's rows at these places, once they are stored."""
    faults = in_order(batch.faults)
    refused = len({fault.place for fault in faults})
    bad = [batch.table.bad_cell(fault) for fault in faults[:MOST_NAMED]]
    more = len(faults) - len(bad)
    return ImportResult(len(batch.good), len(batch.known), refused, rounds, bad, more, Items(batch, places, faults))


class Items:
    """What became of each row, as JSON texts; written when they are asked for, in pieces of so many rows."""

    def __init__(self, batch: Batch, places: range, faults: Sequence[Fault]) -> None:
        self._batch, self._places = batch, places
        self._known = set(batch.known)
        self._wrong = groupby(faults, attrgetter("place"))

    def __len__(self) -> int:
        return len(self._places)

    def pieces(self, rows: int) -> Iterator[list[str]]:
        """The texts of all rows, once, some rows at a time: where all of them are wrong that is many megabytes."""
        batch = self._batch
        write, wrong = _writer(batch), next(self._wrong, None)
        for first in range(self._places.start, self._places.stop, rows):
            places = range(first, min(first + rows, self._places.stop))
            items = _all_stored(batch, places)
            for place in self._known and self._known.intersection(places):
                items[place - first] = _item(batch, place, KNOWN, batch.reading_ids[place])
            while wrong and wrong[0] < places.stop:
                errors = ",".join(map(write, islice(wrong[1], MOST_OF_A_ROW)))
                # It goes by the id that it came with, if it had one.
                items[wrong[0] - first] = _item(batch, wrong[0], REFUSED, batch.columns.id[wrong[0]], errors)
                wrong = next(self._wrong, None)
            yield items


def _all_stored(batch: Batch, places: range) -> list[str]:
    begin, end = places.start, places.stop
    rows = batch.table.rows if batch.table.rows is not None else range(end)
    pairs = zip(rows[begin:end], batch.reading_ids[begin:end], strict=True)
    return [f'{{"row":{row},"id":"{each}","outcome":"stored","errors":[]}}' for row, each in pairs]


def _item(batch: Batch, place: int, outcome: str, reading_id: str | None, errors: str = "") -> str:
    row = batch.table.row(place)
    return f'{{"row":{row},"id":{json.dumps(reading_id)},"outcome":"{outcome}","errors":[{errors}]}}'


def _writer(batch: Batch) -> Callable[[Fault], str]:
    """Writes an error. Mostly a few sentences are told over and over: each is written once, by its identity."""
    names, known = batch.table.names, dict[Any, str]()

    def once(key: Any, value: Any) -> str:
        found = known.get(key)
        if found is None:
            found = known[key] = json.dumps(str(value))
        return found

    def write(fault: Fault) -> str:
        column = once(fault.column, names.get(fault.column, fault.column))
        reason = once(id(fault.reason), fault.reason)
        value = json.dumps(shown(fault.value))
        return f'{{"column":{column},"value":{value},"code":"{fault.code}","reason":{reason}}}'

    return write
