"""Words about a plan, a step of it or a work taken back: somebody's own, so the chain holds only a salted hash."""

import secrets
from uuid import UUID

from farms.chained_rows import hash_again
from monitoring.models import WorkWords


def keep_words(farm_id: UUID, about_id: UUID, text: str, entry: int) -> list[bytes]:
    """Keep them where they can be erased; back come the hashes with which they enter the chain, none for no words."""
    if not text:
        return []
    salt = secrets.token_bytes(16)
    return [
        hash_again(
            WorkWords.objects.create(farm_id=farm_id, about_id=about_id, text=text, salt=salt, entry=entry)
        )
    ]  # fmt: skip
