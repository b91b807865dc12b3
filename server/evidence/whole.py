"""The whole database held against daily heads from outside it: each row is hashed again (farms.verifying)."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path

from farms.heads import HeadUnreadable, SignedHead, breaks_in, key_id, read_head
from farms.merkle import root_of
from farms.models import DailyHead, SigningKey
from farms.verifying import HASH, DayKnown, Fault, Found, every_farm, unclaimed, verify_farms
from server.evidence.keys import public_in

FARMS_AT_ONCE = 100


@dataclass(frozen=True)
class Outside:
    """What lies outside the database: heads by their day, public keys by their id. `wrong` says what can't be read."""

    heads: Mapping[date, SignedHead]
    keys: Mapping[str, bytes]
    wrong: Sequence[str] = ()


@dataclass
class Report:
    """What was looked at, what is wrong, and by day how many leaves no farm here accounts for."""

    found: Found
    heads: int = 0
    last_outside: date | None = None
    unclaimed: Mapping[date, int] = field(default_factory=dict)

    @property
    def faults(self) -> list[Fault]:
        return self.found.faults


def outside_in(folder: Path) -> Outside:
    """The heads (head-*.json) and public keys (key-*.pem) of a folder; each head's file by what it holds."""
    heads: dict[date, SignedHead] = {}
    keys: dict[str, bytes] = {}
    wrong = []
    for path in sorted(folder.glob("*.pem")):
        try:
            public = public_in(path.read_bytes())
            keys[key_id(public)] = public
        except ValueError as error:
            wrong.append(f"{path.name} holds no public key: {error}")
    for path in sorted(folder.glob("*.json")):
        try:
            head = read_head(path.read_text())
        except (HeadUnreadable, UnicodeDecodeError) as error:
            wrong.append(f"{path.name}: {error}")
            continue
        if head.day in heads and heads[head.day].document != head.document:
            wrong.append(f"{path.name} holds another head of {head.day} than a file before it")
        heads[head.day] = head
    return Outside(heads, keys, wrong)


def verify_all(outside: Outside, *, erased: int = 0, using: str = "default") -> Report:
    """Look at every farm. `erased`: how many farms were erased since the oldest head that is there, as far as known.

    Reads in one transaction that the caller opened, so that nothing moves meanwhile.
    """
    report = Report(Found(), last_outside=max(outside.heads, default=None))
    faults = report.faults
    faults += [Fault(None, None, why) for why in outside.wrong]
    days = list(_days(outside, report, using))
    farms = every_farm(using=using)
    for first in range(0, len(farms), FARMS_AT_ONCE):
        verify_farms(farms[first : first + FARMS_AT_ONCE], days, report.found, using=using)
    report.unclaimed = unclaimed(days, report.found)
    worst = max(report.unclaimed.values(), default=0)
    if worst > erased:
        day = next(day for day, number in report.unclaimed.items() if number == worst)
        faults.append(Fault(None, None, UNCLAIMED.format(number=worst, day=day, erased=erased)))
    return report


UNCLAIMED = (
    "of the farms signed on {day}, {number} are no longer there as they were, and {erased} were said to be erased; "
    "compare with what you know of, and say --erased"
)


def _days(outside: Outside, report: Report, using: str) -> Iterator[DayKnown]:
    """Each day in the database whose tree is the one signed; faults for what doesn't hold."""
    keys = dict(SigningKey.objects.using(using).values_list("id", "public"))
    keys = {name: bytes(public) for name, public in keys.items()} | dict(outside.keys)
    read: list[SignedHead] = []
    for row in DailyHead.objects.using(using).order_by("day").iterator(chunk_size=50):
        report.heads += 1
        head = _head_of(row, report)
        if head is None:
            continue
        read.append(head)
        whys = list(_what_is_wrong(row, head, outside, keys))
        report.faults.extend(Fault(None, None, why) for why in whys)
        if not whys:
            yield DayKnown(row.day, head.made_at, bytes(row.leaves), outside=row.day in outside.heads)
    there = {head.day for head in read}
    missing = [day for day in outside.heads if day not in there]
    report.faults.extend(Fault(None, None, f"the head of {day} is gone from the database") for day in sorted(missing))
    report.faults.extend(Fault(None, None, why) for why in breaks_in(_both(read, outside)))


def _head_of(row: DailyHead, report: Report) -> SignedHead | None:
    try:
        return read_head(row.document)
    except HeadUnreadable as error:
        report.faults.append(Fault(None, None, f"the head of {row.day}: {error}"))
        return None


def _what_is_wrong(
    row: DailyHead, head: SignedHead, outside: Outside, keys: Mapping[str, bytes]
) -> Iterator[str]:  # fmt: skip
    day, leaves = row.day, bytes(row.leaves)
    elsewhere = outside.heads.get(day)
    if head.day != day or bytes(row.hash) != head.hash:
        yield f"the head of {day} stands beside another day or hash than its own"
    if elsewhere is not None and elsewhere.document != head.document:
        yield f"the head of {day} in the database isn't the one outside"
    if head.key not in keys:
        yield f"the head of {day} was signed with a key that isn't known here: {head.key}"
    elif not head.is_signed_by(keys[head.key]):
        yield f"the signature of the head of {day} is wrong"
    hashes = [leaves[at : at + HASH] for at in range(0, len(leaves), HASH)]
    if len(hashes) != head.leaves or root_of(hashes) != head.root:
        yield f"the leaves of {day} don't give the root that was signed"


def _both(read: Iterable[SignedHead], outside: Outside) -> list[SignedHead]:
    """The heads in order, those outside in the place of the database's own."""
    heads = {head.day: head for head in read} | dict(outside.heads)
    return [heads[day] for day in sorted(heads)]
