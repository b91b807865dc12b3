"""A farm's evidence: its chain, the rows that leave with it, and the signed days that cover them, in one document.

Canonical JSON, written piece by piece; the form is that of docs/evidence.md. `flyround verify` checks it without us.
Rows of people's own matters leave as hashes, personal words never; of entries that brought nothing that is shown, the
link alone leaves, which holds by itself.
"""

import base64
import json
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from farms.chained import chained_tables
from farms.chained_rows import rows_of
from farms.ledger import canonical_text
from farms.merkle import path_of
from farms.models import DailyHead, Farm, HeadLeaf, LedgerEntry, SigningKey
from server.evidence.keys import public_pem

KIND = "flyround evidence 1"
FILE = "evidence.json"
# Under this name it lies in a PDF.
ATTACHED = "flyround-evidence.json"
HASH = 32
LINK = ("number", "kind", "made_at", "rows", "rows_hash", "hash")


@dataclass(frozen=True)
class Covering:
    """The newest signed day that covers a farm: its document, and how many entries of the farm it covers."""

    head: DailyHead
    leaf: HeadLeaf

    @property
    def signed(self) -> Mapping[str, Any]:
        return dict(json.loads(self.head.document))


def evidence_of(farm: Farm, now: datetime) -> bytes:
    """The whole document. To attach to a PDF, or to write to a file; `pieces_of` for what is streamed."""
    return b"".join(pieces_of(farm, now))


def pieces_of(farm: Farm, now: datetime) -> Iterator[bytes]:
    """The document in pieces, in the order of its names. Whoever acts sees what row security lets them see."""
    last = LedgerEntry.objects.filter(farm_id=farm.id).order_by("-number").values_list("number", flat=True).first() or 0
    heads = list(_heads(farm))
    authorities = sorted({head.authority for head, _leaf in heads if head.stamp is not None})
    keys = [_key(key) for key in SigningKey.objects.order_by("id")]
    yield f'{{"authorities":{_text(authorities)},"farm":"{farm.id}","heads":['.encode()
    yield from _joined(_head(head, leaf, authorities) for head, leaf in heads)
    yield f'],"keys":{_text(keys)},"kind":"{KIND}","links":['.encode()
    yield from _joined(_links(farm, last))
    yield f'],"made_at":{_text(now)},"rows":['.encode()
    yield from _joined(_rows(farm, last))
    yield b"]}\n"


def newest_head_of(farm: Farm) -> Covering | None:
    """The newest signed day in which the farm has a place."""
    leaf = HeadLeaf.objects.filter(farm_id=farm.id).order_by("-day").first()
    head = DailyHead.objects.filter(day=leaf.day).first() if leaf else None
    return Covering(head, leaf) if leaf and head else None


def head_as_told(covering: Covering) -> dict[str, Any]:
    """A farm's newest head with its place and its way to the root, for programs."""
    return {
        "document": covering.signed,
        "number": covering.leaf.number,
        "place": covering.leaf.place,
        "salt": bytes(covering.leaf.salt).hex(),
        "path": _path(covering.head, covering.leaf),
        "stamp": None if covering.head.stamp is None else base64.b64encode(bytes(covering.head.stamp)).decode(),
    }


def _heads(farm: Farm) -> Iterator[tuple[DailyHead, HeadLeaf | None]]:
    """Every day from the first one that covers the farm; with the farm's place where its chain had grown, and last.

    So each record is covered by the first day signed after it; the days between lead from a later one back to it.
    """
    leaves = list(HeadLeaf.objects.filter(farm_id=farm.id).order_by("day"))
    if not leaves:
        return
    chosen: dict[date, HeadLeaf] = {}
    grown = -1
    for leaf in leaves:
        if leaf.number > grown:
            chosen[leaf.day], grown = leaf, leaf.number
    chosen[leaves[-1].day] = leaves[-1]
    days = DailyHead.objects.filter(day__gte=leaves[0].day, day__lte=leaves[-1].day).order_by("day")
    for head in days.defer("leaves").iterator(chunk_size=200):
        yield head, chosen.get(head.day)


def _head(head: DailyHead, leaf: HeadLeaf | None, authorities: list[str]) -> str:
    told: dict[str, Any] = {}
    if leaf is not None:
        told["leaf"] = {"number": leaf.number, "place": leaf.place, "salt": bytes(leaf.salt)}
        told["path"] = _path(head, leaf)
        if head.stamp is not None:
            told["authority"] = authorities.index(head.authority)
            told["stamp"] = base64.b64encode(bytes(head.stamp)).decode()
    more = {name: _text(value) for name, value in told.items()} | {"document": head.document}
    return "{" + ",".join(f'"{name}":{more[name]}' for name in sorted(more)) + "}"


def _path(head: DailyHead, leaf: HeadLeaf) -> list[str]:
    leaves = bytes(head.leaves)
    return [each.hex() for each in path_of([leaves[at : at + HASH] for at in range(0, len(leaves), HASH)], leaf.place)]


def _key(key: SigningKey) -> dict[str, str]:
    return {"id": key.id, "pem": public_pem(bytes(key.public))}


def _links(farm: Farm, last: int) -> Iterator[str]:
    links = LedgerEntry.objects.filter(farm_id=farm.id, number__lte=last).order_by("number")
    for values in links.values_list(*LINK).iterator():
        yield _text(dict(zip(LINK, values, strict=True)))


def _rows(farm: Farm, last: int) -> Iterator[str]:
    """Rows that are shown, and by their hash what else the same entries brought."""
    tables = chained_tables()
    shown = {name for name, table in tables.items() if table.how.shown}
    entries: set[int] = set()
    for name in shown:
        table = tables[name]
        rows = table.model._default_manager.filter(farm_id=farm.id).order_by()
        entries.update(rows.values_list(table.how.entry, flat=True).distinct())
    for row in rows_of([farm.id], ordered=True):
        if row.entry > last or row.entry not in entries:
            continue
        if row.table in shown and row.text is not None:
            yield f'{{"entry":{row.entry},"table":"{row.table}","values":{row.text}}}'
        else:
            erased = '"erased":true,' if row.text is None else ""
            yield f'{{"entry":{row.entry},{erased}"hash":"{row.hash.hex()}","table":"{row.table}"}}'


def _text(value: Any) -> str:
    """Canonical JSON of a value of any kind."""
    return canonical_text({"": value})[4:-1]


def _joined(texts: Iterable[str], at_once: int = 500) -> Iterator[bytes]:
    """The texts with commas between, some hundreds a piece."""
    held: list[str] = []
    first = True
    for text in texts:
        held.append(text if first else f",{text}")
        first = False
        if len(held) >= at_once:
            yield "".join(held).encode()
            held = []
    if held:
        yield "".join(held).encode()
