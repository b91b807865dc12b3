"""Where a farm keeps its dated cards, from a day on. Earlier rows stay."""

import secrets
from datetime import date, datetime

from django.db import transaction
from django.utils.translation import gettext_lazy as _

from farms.chained_rows import hash_again
from farms.clock import local_date
from farms.ledger import Actor, append, lock_heads, next_number
from farms.models import Farm
from monitoring.errors import CardsKeptRefused
from monitoring.models import CardsKept
from monitoring.rules.from_day import from_day_faults
from monitoring.rules.label import line_faults

MOST = 300
MISSING = _("Say where the cards are kept, such as: a dry box in the office, a bundle a season.")


@transaction.atomic
def note_cards_kept(*, farm: Farm, words: str, from_on: date, actor: Actor, now: datetime) -> CardsKept:
    """Note where the cards are kept from a day on. Raises CardsKeptRefused."""
    head = lock_heads([farm.id])[farm.id]
    faults = line_faults("words", words, MOST, MISSING)
    faults += from_day_faults(from_on, local_date(now, farm.time_zone))
    if faults:
        raise CardsKeptRefused(errors=faults)
    row = CardsKept.objects.create(
        farm_id=farm.id, words=words.strip(), from_on=from_on, actor_kind=actor.kind, recorded_at=now,
        salt=secrets.token_bytes(16), entry=next_number(head),
    )  # fmt: skip
    append(head, kind="cards_kept", actor=actor, row_hashes=[hash_again(row)], now=now)
    return row
