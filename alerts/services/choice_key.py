"""The keys that sign the addresses of choices: made by the first mail that needs one, newest first."""

import secrets
from datetime import datetime

from alerts.models import ChoiceKey
from alerts.selectors.mail_choices import choice_keys


def keys_to_sign(now: datetime) -> list[bytes]:
    """The keys that open, the one that signs first. Two that were made at the same moment both open."""
    found = choice_keys()
    if not found:
        ChoiceKey.objects.create(key=secrets.token_bytes(32), made_at=now)
        found = choice_keys()
    return found
