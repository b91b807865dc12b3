"""A day's signed head as a document: what is signed, by whom, and how it is read again. The form: docs/evidence.md.

Signatures are Ed25519 (RFC 8032), over the document's canonical JSON without the signature.
"""

import hashlib
import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any
from uuid import UUID

from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey

from farms.ledger import canonical, canonical_text
from farms.merkle import leaf_hash

KIND = "flyround daily head 1"
NAMES = {"day", "key", "kind", "leaves", "made_at", "previous", "root", "signature"}
LONGEST = 4_096
HASH = 32


class HeadUnreadable(ValueError):
    """A text is no signed head; the message says why, in words for whoever runs the service."""


@dataclass(frozen=True)
class SignedHead:
    """What a document says, and the document itself, to the letter."""

    day: date
    made_at: datetime
    leaves: int
    root: bytes
    previous: bytes | None
    key: str
    signature: bytes
    document: str

    @property
    def hash(self) -> bytes:
        """SHA-256 of the document: what the next day's names, and what is time-stamped."""
        return hashlib.sha256(self.document.encode()).digest()

    def is_signed_by(self, public: bytes) -> bool:
        """Whether this public key (32 bytes) signed it."""
        said = {name: value for name, value in json.loads(self.document).items() if name != "signature"}
        try:
            Ed25519PublicKey.from_public_bytes(public).verify(self.signature, canonical(said))
        except InvalidSignature:
            return False
        return key_id(public) == self.key


def key_id(public: bytes) -> str:
    """How a document names a key: SHA-256 of its 32 bytes, in hexadecimal."""
    return hashlib.sha256(public).hexdigest()


def leaf_of(farm_id: UUID, number: int, head: bytes, salt: bytes) -> bytes:
    """A farm's leaf: its chain had so many entries, the last of them with this hash.

    The salt is the farm's own and of that day, so that nobody finds out by trying whose leaf one is.
    """
    return leaf_hash(canonical({"farm": farm_id, "head": head, "number": number, "salt": salt}))


def sign_head(
    *, day: date, made_at: datetime, leaves: int, root: bytes, previous: bytes | None, key: Ed25519PrivateKey
) -> SignedHead:
    """The day's document, signed."""
    said: dict[str, Any] = {
        "kind": KIND, "day": day, "made_at": made_at, "leaves": leaves, "root": root, "previous": previous,
        "key": key_id(key.public_key().public_bytes_raw()),
    }  # fmt: skip
    signature = key.sign(canonical(said))
    return read_head(canonical_text(said | {"signature": signature}))


def read_head(text: str) -> SignedHead:
    """A document, from its text or file. Raises HeadUnreadable. Says nothing of whether it is signed rightly."""
    document = text.strip()
    said = _object(document)
    if said.get("kind") != KIND or set(said) != NAMES:
        raise HeadUnreadable("This is no daily head of Flyround's: the file should hold one and nothing else.")
    try:
        head = SignedHead(
            day=date.fromisoformat(said["day"]),
            made_at=datetime.fromisoformat(said["made_at"]),
            leaves=int(said["leaves"]),
            root=_bytes(said["root"], HASH),
            previous=None if said["previous"] is None else _bytes(said["previous"], HASH),
            key=_bytes(said["key"], HASH).hex(),
            signature=_bytes(said["signature"], 64),
            document=document,
        )
    except (TypeError, ValueError) as error:
        raise HeadUnreadable(f"This daily head can't be read: {error}.") from error
    if canonical_text(said) != document:
        raise HeadUnreadable("This daily head isn't written as it was signed. Take the file or the mail as it came.")
    return head


def breaks_in(heads: Iterable[SignedHead]) -> list[str]:
    """Where days that follow each other don't name one another; they come in the order of their days."""
    found, before = [], None
    for head in heads:
        if before is not None and head.previous != before.hash:
            found.append(f"The head of {head.day} doesn't name that of {before.day} as the one before it.")
        before = head
    return found


def _object(document: str) -> Mapping[str, Any]:
    try:
        said = json.loads(document) if len(document) <= LONGEST else None
    except ValueError:
        said = None
    if not isinstance(said, dict):
        raise HeadUnreadable("This is no daily head of Flyround's: it isn't a JSON object of some lines.")
    return said


def _bytes(text: str, length: int) -> bytes:
    found = bytes.fromhex(text)
    if len(found) != length:
        raise ValueError(f"{len(found)} bytes where there should be {length}")
    return found
