"""The ids of a round and of what it holds: made here where the sender gave none, and kept.

They are kept by what they stand for, not by the file they came in: one round of a farm a day; one reading of a station,
what hangs there and when. So a round that is told again, or half today and the rest tomorrow, is stored once.
"""

import json
import sqlite3
from collections import Counter
from collections.abc import Mapping
from typing import Any

from uuid_utils.compat import uuid7

# What tells two readings, two hangings or two notes of one round apart.
PARTS = {
    "readings": ("station_id", "placement_id", "hung_on", "taken_on", "pen", "time_of_day"),
    "hung": ("station_id", "hung_on"),
    "notes": ("text",),
}


def with_ids(db: sqlite3.Connection, site: str, farm: str, body: Mapping[str, Any]) -> tuple[str, dict[str, Any]]:
    """A round's id and its body, each part with an id; those that it has are left as they are.

    Within a transaction of the book, so that ids are kept together with what they were made for.
    """
    body = dict(body)

    def kept(*what: object) -> str:
        """The id made for something before, or a new one."""
        key = (site, farm, json.dumps(what))
        db.execute("INSERT OR IGNORE INTO made_id VALUES (?, ?, ?, ?)", (*key, str(uuid7())))
        found = db.execute("SELECT id FROM made_id WHERE site = ? AND farm = ? AND what = ?", key).fetchone()
        return str(found["id"])

    round_id = str(body.pop("id", None) or kept("round", body.get("walked_on")))
    for name, telling in PARTS.items():
        seen: Counter[str] = Counter()
        if isinstance(body.get(name), list):
            body[name] = [_with_id(each, telling, seen, (round_id, name), kept) for each in body[name]]
    return round_id, body


def _with_id(each: Any, telling: tuple[str, ...], seen: Counter[str], where: tuple[str, str], kept: Any) -> Any:
    if not isinstance(each, dict) or each.get("id"):
        return each
    what = [each.get(name) for name in telling]
    told = json.dumps(what)
    seen[told] += 1
    return {"id": kept(*where, what, seen[told]), **each}
