"""Entries behind the heads of many farms' chains at once: what `farms.ledger.append` does for one."""

import hashlib
from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any
from uuid import UUID

import numpy as np
from django.db import connection

from farms.columns import Ids, insert_columns
from farms.ledger import Actor, link_hash, next_number
from farms.lookups import array_of
from farms.models import LedgerHead

HASH = "V32"
# The entry just inserted is the only one that follows its head.
MOVE_HEADS = """
UPDATE farms_ledgerhead h SET number = e.number, hash = e.hash FROM farms_ledgerentry e
WHERE h.farm_id = ANY(%s::uuid[]) AND e.farm_id = h.farm_id AND e.number = h.number + 1
"""


def append_to_each(
    heads: Mapping[UUID, LedgerHead], row_hashes: Mapping[UUID, Sequence[bytes]], *, kind: str, actor: Actor,
    now: datetime,
) -> None:  # fmt: skip
    """Add one entry behind each locked head that has rows (their SHA-256, see `farms.ledger.row_hash`)."""
    if not row_hashes:
        return
    farms = [heads[farm_id] for farm_id in row_hashes]
    rows = [hashlib.sha256(b"".join(sorted(hashes))).digest() for hashes in row_hashes.values()]
    links = [
        link_hash(head.farm_id, next_number(head), kind, now, rows_hash, bytes(head.hash))
        for head, rows_hash in zip(farms, rows, strict=True)
    ]
    columns: dict[str, Any] = {
        "farm_id": Ids(head.farm_id for head in farms),
        "number": np.array([next_number(head) for head in farms], np.int64),
        "rows": np.array([len(hashes) for hashes in row_hashes.values()], np.int64),
        "rows_hash": np.frombuffer(b"".join(rows), HASH),
        "previous": np.frombuffer(b"".join(bytes(head.hash) for head in farms), HASH),
        "hash": np.frombuffer(b"".join(links), HASH),
    }
    same = {"kind": kind, "made_at": now, "actor_kind": actor.kind, "actor_id": actor.id}
    insert_columns("farms_ledgerentry", columns, same)
    with connection.cursor() as cursor:
        cursor.execute(MOVE_HEADS, [array_of(row_hashes).text])
    for head, link in zip(farms, links, strict=True):
        head.number, head.hash = next_number(head), link
