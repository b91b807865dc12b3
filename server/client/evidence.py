"""Checking a farm's evidence with nothing but the file and a public key: from rows to links to signed days.

This is written out here a second time, apart from the service, since the client imports nothing of the rest, and since
what is to be believed should be checked by something short. The form is that of docs/evidence.md.
"""

import base64
import binascii
import hashlib
import json
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any

from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

GENESIS = bytes(32)
# What such an entry brings leaves with the file; without its rows it was cut out.
BRINGS_ROWS = ("correction", "import", "photo", "round", "work")
# What a file that somebody wrote by hand can make go wrong while it is read.
MISSHAPEN = (KeyError, TypeError, ValueError, AttributeError, IndexError, OverflowError, RecursionError)


@dataclass(frozen=True)
class Wrong:
    """Something that doesn't hold: which sentence of verify_words, and what it names."""

    what: str
    values: Mapping[str, Any] = field(default_factory=dict)


@dataclass
class Checked:
    """What was found. `covered` says for each day how many entries it covers, of days that are to be believed."""

    wrong: list[Wrong] = field(default_factory=list)
    rows: int = 0
    erased: int = 0
    by_hash: int = 0
    entries: int = 0
    without_rows: Counter[str] = field(default_factory=Counter)
    covered: dict[str, int] = field(default_factory=dict)
    made_at: dict[int, str] = field(default_factory=dict)
    outside: str = ""

    def no(self, what: str, **values: Any) -> None:
        self.wrong.append(Wrong(what, values))

    @property
    def last_covered(self) -> int:
        return max(self.covered.values(), default=0)


@dataclass(frozen=True)
class Head:
    """A signed day of the file: what it says, its place for the farm, its time stamp."""

    said: Mapping[str, Any]
    told: Mapping[str, Any]

    @property
    def day(self) -> str:
        return str(self.said["day"])

    @property
    def hash(self) -> bytes:
        return hashlib.sha256(canonical(self.said)).digest()

    def is_signed_by(self, public: bytes) -> bool:
        body = {name: value for name, value in self.said.items() if name != "signature"}
        try:
            Ed25519PublicKey.from_public_bytes(public).verify(bytes.fromhex(self.said["signature"]), canonical(body))
        except InvalidSignature:
            return False
        return self.said["key"] == hashlib.sha256(public).hexdigest()


def canonical(values: Any) -> bytes:
    """JSON with sorted keys and no spaces, in UTF-8."""
    return json.dumps(values, sort_keys=True, separators=(",", ":"), ensure_ascii=False).encode()


def check(evidence: Mapping[str, Any], keys: Sequence[bytes], outside: Mapping[str, Any] | None) -> Checked:
    """Check rows, links, and signed days. `keys` are public keys to believe, `outside` a head from elsewhere."""
    found = Checked()
    try:
        hashes = _check_rows(evidence, found)
        links = _check_links(evidence, hashes, found)
        heads = [Head(each["document"], each) for each in evidence["heads"]]
        believed = _believed(heads, keys, outside, found)
        for head in heads:
            _check_leaf(evidence["farm"], head, links, found, believed=head.day in believed)
    except MISSHAPEN:
        found.no("misshapen")
    return found


def heads_of(evidence: Mapping[str, Any]) -> Iterator[Head]:
    """The days that have the farm's place."""
    return (Head(each["document"], each) for each in evidence["heads"] if "leaf" in each)


def stamp_of(head: Head) -> bytes | None:
    """The time stamp of a day as the authority gave it. Raises ValueError where it isn't written as one."""
    try:
        return base64.b64decode(head.told["stamp"], validate=True) if head.told.get("stamp") else None
    except (binascii.Error, TypeError) as error:
        raise ValueError("no base64") from error


def _check_rows(evidence: Mapping[str, Any], found: Checked) -> dict[int, list[bytes]]:
    """The hashes of all rows, by their entry."""
    hashes: dict[int, list[bytes]] = {}
    for row in evidence["rows"]:
        if "values" in row:
            if row["values"].get("farm_id") != evidence["farm"]:
                found.no("other_farm", entry=row["entry"])
            digest = hashlib.sha256(row["table"].encode() + b"\n" + canonical(row["values"])).digest()
            found.rows += 1
        else:
            digest = bytes.fromhex(row["hash"])
            found.erased += bool(row.get("erased"))
            found.by_hash += 1
        hashes.setdefault(int(row["entry"]), []).append(digest)
    return hashes


def _check_links(evidence: Mapping[str, Any], hashes: dict[int, list[bytes]], found: Checked) -> list[bytes]:
    """Each link's hash, in order; the first stands at 1."""
    before, made = GENESIS, []
    for number, link in enumerate(evidence["links"], 1):
        body = {"farm": evidence["farm"], "number": number, "kind": link["kind"], "made_at": link["made_at"],
                "rows": link["rows_hash"]}  # fmt: skip
        right = hashlib.sha256(before + canonical(body)).digest()
        if link["number"] != number or link["hash"] != right.hex():
            found.no("link", entry=link["number"], moment=link["made_at"])
        _check_entry(link, hashes.pop(number, None), found)
        before = bytes.fromhex(link["hash"])
        made.append(before)
        found.made_at[number] = str(link["made_at"])
    for number in sorted(hashes):
        found.no("no_entry", entry=number)
    found.entries = len(made)
    return made


def _check_entry(link: Mapping[str, Any], hashes: list[bytes] | None, found: Checked) -> None:
    if hashes is None:
        found.without_rows[str(link["kind"])] += 1
        if link["kind"] in BRINGS_ROWS:
            found.no("rows_gone", entry=link["number"], moment=link["made_at"])
    elif hashlib.sha256(b"".join(sorted(hashes))).hexdigest() != link["rows_hash"]:
        found.no("rows", entry=link["number"], moment=link["made_at"])


def _believed(
    heads: Sequence[Head], keys: Sequence[bytes], outside: Mapping[str, Any] | None, found: Checked
) -> set[str]:  # fmt: skip
    """The days to believe: signed by a key that was given, or the head from outside; and what leads up to one of these.

    A day names the one before it, so that days signed with an earlier key are believed, too.
    """
    known = {hashlib.sha256(key).hexdigest(): key for key in keys}
    signed = {head.day: head.is_signed_by(known[head.said["key"]]) for head in heads if head.said["key"] in known}
    for day, rightly in signed.items():
        if not rightly:
            found.no("signature", day=day)
    for former, later in pairwise(heads):
        if later.said["previous"] != former.hash.hex():
            found.no("days", day=later.day, before=former.day)
    begins = {day for day, rightly in signed.items() if rightly}
    if outside is not None:
        begins |= _at_the_outside(heads, Head(outside, {}), known, found)
    believed = _led_to(heads, begins)
    for head in heads:
        if keys and head.day not in believed and head.day not in signed:
            found.no("other_key", day=head.day, key=head.said["key"][:16])
    return believed


def _led_to(heads: Sequence[Head], begins: set[str]) -> set[str]:
    """These days, and those before them as far as each is named by the one after it."""
    believed: set[str] = set()
    after: Head | None = None
    for head in reversed(heads):
        named = after is not None and after.day in believed and after.said["previous"] == head.hash.hex()
        if head.day in begins or named:
            believed.add(head.day)
        after = head
    return believed


def _at_the_outside(
    heads: Sequence[Head], outside: Head, known: Mapping[str, bytes], found: Checked
) -> set[str]:  # fmt: skip
    """The day of the file that the head from outside is, or the last one where it is the next."""
    if known and not (outside.said["key"] in known and outside.is_signed_by(known[outside.said["key"]])):
        found.no("outside_signature", day=outside.day)
        return set()
    same = next((head for head in heads if head.day == outside.day), None)
    if same is not None and canonical(same.said) != canonical(outside.said):
        found.no("outside", day=outside.day)
        return set()
    if same is None and heads and outside.said["previous"] == heads[-1].hash.hex():
        same = heads[-1]
    found.outside = outside.day if same else "elsewhere"
    return {same.day} if same else set()


def _check_leaf(farm: str, head: Head, links: Sequence[bytes], found: Checked, *, believed: bool) -> None:
    leaf = head.told.get("leaf")
    if leaf is None:
        return
    number = leaf["number"]
    if not 0 <= number <= len(links):
        found.no("links_gone", day=head.day, number=number, entries=len(links))
        return
    last = links[number - 1] if number else GENESIS
    content = {"farm": farm, "head": last.hex(), "number": number, "salt": leaf["salt"]}
    at = hashlib.sha256(b"\x00" + canonical(content)).digest()
    root = _root(at, leaf["place"], head.said["leaves"], [bytes.fromhex(each) for each in head.told["path"]])
    if root is None or root.hex() != head.said["root"]:
        found.no("leaf", day=head.day, number=number)
    elif believed:
        found.covered[head.day] = number


def _root(leaf: bytes, place: int, size: int, path: Sequence[bytes]) -> bytes | None:
    """The root that an inclusion proof leads to: RFC 9162, 2.1.3.2."""
    if not 0 <= place < size:
        return None
    at, last, found = place, size - 1, leaf
    for beside in path:
        if last == 0:
            return None
        if at & 1 or at == last:
            found = hashlib.sha256(b"\x01" + beside + found).digest()
            while not at & 1 and at:
                at, last = at >> 1, last >> 1
        else:
            found = hashlib.sha256(b"\x01" + found + beside).digest()
        at, last = at >> 1, last >> 1
    return found if last == 0 else None
