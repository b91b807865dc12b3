"""The rows of a table as they enter the chain.

The form is that of farms.ledger.row_hash, written by template instead of value by value; a test holds the two equal.
"""

import hashlib
from collections.abc import Sequence
from itertools import compress

from farms.ledger import row_hash, row_values
from monitoring.models import Round
from monitoring.services.table.rows import NULL, PLACEMENT_TABLE, READING_TABLE, Form, Rows

# Numbers stand as they are; ids, days, words and decimals between quotation marks.
BARE = ("count", "sides")
PLACEMENT_COLUMNS = {
    "farm_id": "farm_id", "id": "placement_id", "station_id": "station_id", "hung_on": "hung_on", "zone": "zone",
}  # fmt: skip


def hashes_of(rows: Rows, rounds: Sequence[Round]) -> list[bytes]:
    """The chain's hash of every new round, placement and reading, sorted as the ledger wants them."""
    readings = {name: name for name in rows.copied if name != "entry"}
    found = [row_hash(Round._meta.db_table, row_values(each)) for each in rounds]
    found += _hashes(PLACEMENT_TABLE, PLACEMENT_COLUMNS, rows, which=rows.fresh)
    found += _hashes(READING_TABLE, readings, rows, which=[True] * rows.number)
    return sorted(found)


def _hashes(table: str, columns: dict[str, str], rows: Rows, *, which: list[bool]) -> list[bytes]:
    """SHA-256 of each row: its names in order, those values that never change in the template.

    What stands before the first value that changes is hashed once and copied.
    """
    if not any(which):
        return []
    head, tail = f"{table}\n{{", ""
    varying: list[list[str]] = []
    for place, name in enumerate(sorted(columns)):
        form, mark = _form(rows, columns[name])
        before = f'{"," if place else ""}"{name}":{mark}'
        text = before if isinstance(form, list) else f"{before}{form}{mark}"
        if varying:
            tail += text.replace("%", "%%")
        else:
            head += text
        if isinstance(form, list):
            tail += f"%b{mark}"
            varying.append(form)
    begun, template = hashlib.sha256(head.encode()), f"{tail}}}".encode()
    found = []
    for row in zip(*(_bytes(form, which) for form in varying), strict=True):
        one = begun.copy()
        one.update(template % row)
        found.append(one.digest())
    return found


def _form(rows: Rows, name: str) -> tuple[Form, str]:
    """A column as the chain has it, and the mark that stands around each of its values."""
    if name in rows.chained:
        return rows.chained[name], ""
    form, mark = rows.copied[name], "" if name in BARE else '"'
    if isinstance(form, str):
        return ("null", "") if form == NULL else (form, mark)
    if NULL in form:
        return ["null" if text == NULL else f"{mark}{text}{mark}" for text in form], ""
    return form, mark


def _bytes(form: list[str], which: list[bool]) -> list[bytes]:
    """A column in UTF-8; no text here holds a line break (JSON escapes it)."""
    chosen = form if all(which) else compress(form, which)
    return "\n".join(chosen).encode().split(b"\n")
