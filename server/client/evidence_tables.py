"""An export's tables against its evidence: each row of a CSV or NDJSON file is one that the evidence holds."""

import csv
import json
from collections.abc import Iterator, Mapping
from decimal import Decimal, InvalidOperation
from pathlib import Path
from typing import Any

from server.client.evidence import Checked
from server.client.verify_words import say

# The export's tables whose rows are in the evidence, by the table in which the service keeps them.
TABLES = {"readings": "monitoring_reading", "rounds": "monitoring_round", "works": "monitoring_work",
          "photos": "monitoring_photo"}  # fmt: skip
# Columns of the same name and meaning in both.
COLUMNS = {
    "id", "round_id", "station_id", "facility_id", "method", "how", "count", "fraction", "at_least", "reason",
    "hung_on", "taken_on", "animals", "sides", "pen", "time_of_day", "weather", "bunching", "sprayed", "zone",
    "corrects_id", "correction_kind", "walked_on", "source", "actor_kind", "typed_on", "kind", "done_on", "thorough",
    "width", "height",
}  # fmt: skip


def check_tables(folder: Path, evidence: Mapping[str, Any], found: Checked) -> Iterator[str]:
    """A sentence for each table of the folder that holds; what doesn't is noted in `found`."""
    for name, table in TABLES.items():
        for path in (folder / f"{name}.csv", folder / f"{name}.ndjson"):
            if path.is_file():
                yield from _check_file(path, table, evidence, found)


def _check_file(path: Path, table: str, evidence: Mapping[str, Any], found: Checked) -> Iterator[str]:
    known = {
        row["values"].get("id"): row["values"] for row in evidence["rows"]
        if row.get("table") == table and isinstance(row.get("values"), dict)
    }  # fmt: skip
    number, before = 0, len(found.wrong)
    try:
        for row in _rows(path):
            number += 1
            values = known.get(row.get("id"))
            if values is None or not all(
                _same(row[name], values[name]) for name in COLUMNS if name in row.keys() & values
            ):
                found.no("table", file=path.name, row=number)
    except (OSError, ValueError, csv.Error, AttributeError, TypeError):
        found.no("table", file=path.name, row=number + 1)
    if len(found.wrong) == before:
        yield say("{file}: its {rows} rows are those of the evidence.", file=path.name, rows=number)


def _rows(path: Path) -> Iterator[dict[str, Any]]:
    with path.open(encoding="utf-8", newline="") as file:
        if path.suffix == ".csv":
            yield from csv.DictReader(file)
        else:
            yield from map(json.loads, file)


def _same(exported: Any, kept: Any) -> bool:
    """Whether a value as it was exported is the one kept: in CSV all is text, and nothing is missing or an empty text.

    A text that a spreadsheet would take for a formula has an apostrophe before it in CSV.
    """
    one, other = _plain(exported), _plain(kept)
    return one == other or _number(one) == _number(other) != "" or one == f"'{other}"


def _plain(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, list):
        return " ".join(map(str, value))
    return str(value)


def _number(text: str) -> Decimal | str:
    try:
        return Decimal(text)
    except InvalidOperation:
        return ""
