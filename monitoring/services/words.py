"""Free words sealed on arrival: what is kept apart and can be erased, and the salted hash that stays on the record."""

import secrets
from collections.abc import Mapping
from dataclasses import dataclass

from farms.ledger import canonical_text, salted


@dataclass(frozen=True)
class Sealed:
    """Words without their empty ones, their salt, and the hash of both; an empty hash where nothing was said."""

    words: dict[str, str]
    salt: bytes
    hash: str


def sealed(words: Mapping[str, str]) -> Sealed:
    said = {name: text.strip() for name, text in words.items() if text.strip()}
    salt = secrets.token_bytes(16)
    return Sealed(said, salt, words_hash(said, salt) if said else "")


def words_hash(words: Mapping[str, str], salt: bytes) -> str:
    """What stands on the record and in the chain for words."""
    return salted(canonical_text(words), salt)
