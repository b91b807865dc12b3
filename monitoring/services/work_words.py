"""Words about a plan, a step of it or a work taken back: somebody's own, so the chain holds only a salted hash."""

import secrets
from uuid import UUID

from farms.ledger import salted
from monitoring.models import WorkWords


def keep_words(farm_id: UUID, about_id: UUID, text: str) -> str:
    """Keep them where they can be erased; back comes what stands in their row, "" for no words."""
    if not text:
        return ""
    salt = secrets.token_bytes(16)
    WorkWords.objects.create(farm_id=farm_id, about_id=about_id, text=text, salt=salt)
    return salted(text, salt)
