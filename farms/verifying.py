"""The whole database against its chains, and its chains against signed heads from outside it.

Whoever can change the database can change every row and every hash in it, and make all of it fit again. What they
can't change are the heads that lie elsewhere. So all that was there on the day of the last outside head is compared
with that one; what came later is told as not yet covered.
"""

import hashlib
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from typing import Any, NamedTuple
from uuid import UUID

from django.db.models import F

from farms.chained import kept_apart
from farms.chained_rows import hashes_of
from farms.heads import leaf_of
from farms.ledger import GENESIS, canonical_text, link_hash, salted
from farms.lookups import array_of
from farms.models import Farm, HeadLeaf, LedgerEntry, LedgerHead

# A transaction under way when a day was signed may bring a farm that looks older than the signature.
UNDER_WAY = timedelta(hours=1)
HASH = 32


class Fault(NamedTuple):
    """What doesn't hold: on which farm's chain, from which entry on (either may be unknown), and why."""

    farm_id: UUID | None
    entry: int | None
    why: str

    def __str__(self) -> str:
        where = [
            f"farm {self.farm_id}" if self.farm_id else "",
            f"entry {self.entry}" if self.entry is not None else "",
        ]
        return ": ".join(filter(None, [", ".join(filter(None, where)), self.why]))


@dataclass(frozen=True)
class DayKnown:
    """A day's tree: its leaf hashes, 32 bytes each, which were found to give the root that was signed.

    `outside`: its head was compared with a copy from outside the database.
    """

    day: date
    made_at: datetime
    leaves: bytes
    outside: bool

    def __len__(self) -> int:
        return len(self.leaves) // HASH

    def leaf(self, place: int) -> bytes:
        return self.leaves[HASH * place : HASH * (place + 1)]


@dataclass
class Found:
    """What was looked at and what was wrong. `claimed`: by day the places of leaves that a farm here accounts for."""

    farms: int = 0
    entries: int = 0
    rows: int = 0
    erased: int = 0
    not_covered: int = 0
    faults: list[Fault] = field(default_factory=list)
    claimed: dict[date, set[int]] = field(default_factory=lambda: defaultdict(set))

    def fault(self, farm_id: UUID, entry: int | None, why: str) -> None:
        self.faults.append(Fault(farm_id, entry, why))


class Link(NamedTuple):
    """An entry as it stands in the table."""

    number: int
    kind: str
    made_at: datetime
    rows: int
    rows_hash: bytes
    previous: bytes
    hash: bytes


def verify_farms(farm_ids: Sequence[UUID], days: Sequence[DayKnown], found: Found, *, using: str) -> None:
    """Look at some farms: links, every row again, bytes kept apart, and the leaves of these days."""
    chains = _chains(farm_ids, using)
    for farm_id, links in chains.items():
        _check_links(farm_id, links, found)
    _check_ends(chains, found, using)
    _check_rows(chains, found, using)
    _check_apart(farm_ids, found, using)
    _check_leaves(chains, days, found, using)
    found.farms += len(chains)
    found.entries += sum(map(len, chains.values()))


def every_farm(*, using: str) -> list[UUID]:
    """Each farm that there is, or of which a chain, a leaf or a head is left."""
    ids: set[UUID] = set(Farm.objects.using(using).values_list("id", flat=True))
    for model in (LedgerHead, LedgerEntry, HeadLeaf):
        ids.update(model.objects.using(using).values_list("farm_id", flat=True).distinct())
    return sorted(ids)


def unclaimed(days: Iterable[DayKnown], found: Found) -> dict[date, int]:
    """By day how many leaves no farm here accounts for: erased farms', or made to look so."""
    missing = {each.day: len(each) - len(found.claimed[each.day]) for each in days}
    return {day: number for day, number in missing.items() if number}


def _chains(farm_ids: Sequence[UUID], using: str) -> dict[UUID, list[Link]]:
    chains: dict[UUID, list[Link]] = {farm_id: [] for farm_id in farm_ids}
    entries = LedgerEntry.objects.using(using).filter(farm_id__any_of=array_of(farm_ids)).order_by("farm_id", "number")
    names = ("number", "kind", "made_at", "rows", "rows_hash", "previous", "hash")
    for farm_id, number, kind, made_at, rows, *hashes in entries.values_list("farm_id", *names).iterator():
        chains[farm_id].append(Link(number, kind, made_at, rows, *map(bytes, hashes)))
    return chains


def _check_links(farm_id: UUID, links: Sequence[Link], found: Found) -> None:
    before = GENESIS
    for number, link in enumerate(links, 1):
        if link.number != number or link.previous != before:
            found.fault(farm_id, link.number, "it does not follow the entry before")
        if link.hash != link_hash(farm_id, link.number, link.kind, link.made_at, link.rows_hash, before):
            found.fault(farm_id, link.number, "it was changed after it was written")
        before = link.hash


def _check_ends(chains: Mapping[UUID, Sequence[Link]], found: Found, using: str) -> None:
    heads = LedgerHead.objects.using(using).filter(farm_id__any_of=array_of(chains))
    at = {head.farm_id: (head.number, bytes(head.hash)) for head in heads}
    for farm_id, links in chains.items():
        last = (links[-1].number, links[-1].hash) if links else (0, GENESIS)
        if at.get(farm_id) != last:
            found.fault(farm_id, last[0], "the head of the chain is not its last entry")


def _check_rows(chains: Mapping[UUID, Sequence[Link]], found: Found, using: str) -> None:
    hashes: dict[tuple[UUID, int], list[bytes]] = defaultdict(list)
    for farm_id, entry, some, erased in hashes_of(chains, using=using):
        hashes[farm_id, entry] += some
        found.erased += len(some) if erased else 0
        found.rows += len(some)
    for farm_id, links in chains.items():
        for link in links:
            here = sorted(hashes.pop((farm_id, link.number), ()))
            if hashlib.sha256(b"".join(here)).digest() != link.rows_hash or len(here) != link.rows:
                found.fault(farm_id, link.number, _what_of_rows(link, len(here)))
    for farm_id, number in hashes:
        found.fault(farm_id, number, "there are rows of an entry that isn't there")


def _what_of_rows(link: Link, here: int) -> str:
    moment = f"{link.kind} of {link.made_at:%Y-%m-%d}"
    if here != link.rows:
        return f"it brought {link.rows} rows ({moment}), and {here} are there"
    return f"the rows that it brought ({moment}) are not what they were"


def _check_apart(farm_ids: Sequence[UUID], found: Found, using: str) -> None:
    """Photos and the like: what lies apart is what its salted hash says; erased, there is nothing to compare."""
    for model, how in kept_apart():
        rows = model._default_manager.using(using).filter(farm_id__any_of=array_of(farm_ids))
        for farm_id, row_id, content, salt, told in (
            rows.annotate(told_by=F(how.told_by))
            .values_list("farm_id", "id", how.content, "salt", "told_by")
            .iterator(chunk_size=50)
        ):
            if salted(content_of(content), bytes(salt)) != told:
                found.fault(farm_id, None, f"{model._meta.db_table} {row_id} holds something else than was sent")


def content_of(content: Any) -> str | bytes:
    """What is kept apart, as it was hashed: bytes as they are, words by their fields in canonical JSON."""
    return canonical_text(content) if isinstance(content, dict) else bytes(content)


def _check_leaves(
    chains: Mapping[UUID, Sequence[Link]], days: Sequence[DayKnown], found: Found, using: str
) -> None:  # fmt: skip
    rows = _leaves(chains, [each.day for each in days], using)
    for farm_id, links in chains.items():
        covered = 0
        for known in days:
            leaf = rows.get((farm_id, known.day))
            if leaf is not None:
                reached = _check_leaf(farm_id, links, known, leaf, found)
                covered = max(covered, reached if known.outside else 0)
            elif links and links[0].made_at < known.made_at - UNDER_WAY:
                found.fault(farm_id, None, f"it was there on {known.day}, and its place in that day's tree is gone")
        found.not_covered += len(links) - covered


def _check_leaf(
    farm_id: UUID, links: Sequence[Link], known: DayKnown, leaf: tuple[int, int, bytes], found: Found
) -> int:  # fmt: skip
    """Hold a farm's leaf of a day against its chain as it is now. The number of entries that it covers."""
    number, place, salt = leaf
    if number > len(links):
        found.fault(farm_id, len(links), f"the chain ends here, and on {known.day} it had {number} entries")
        return 0
    head = links[number - 1].hash if number else GENESIS
    if not 0 <= place < len(known) or known.leaf(place) != leaf_of(farm_id, number, head, salt):
        found.fault(farm_id, number, f"the chain is not the one that was signed on {known.day}")
        return 0
    found.claimed[known.day].add(place)
    return number


def _leaves(
    farm_ids: Iterable[UUID], days: Sequence[date], using: str
) -> dict[tuple[UUID, date], tuple[int, int, bytes]]:  # fmt: skip
    rows = HeadLeaf.objects.using(using).filter(farm_id__any_of=array_of(farm_ids), day__in=days)
    found = rows.values_list("farm_id", "day", "number", "place", "salt").iterator()
    return {(farm_id, day): (number, place, bytes(salt)) for farm_id, day, number, place, salt in found}
