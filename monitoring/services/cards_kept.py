"""Where a farm keeps its dated cards, from a day on. Earlier rows stay."""

import secrets
from datetime import date, datetime, timedelta

from django.db import transaction
from django.utils.translation import gettext_lazy as _

from farms.chained_rows import hash_again
from farms.clock import local_date
from farms.errors import Detail
from farms.ledger import Actor, append, lock_heads, next_number
from farms.models import Farm
from monitoring.errors import CardsKeptRefused
from monitoring.models import CardsKept
from monitoring.rules.label import line_faults

AHEAD = timedelta(days=366)
MOST = 300
MISSING = _("Say where the cards are kept, such as: a dry box in the office, a bundle a season.")
TOO_FAR = _("This is more than a year ahead. Check the day and its year.")


@transaction.atomic
def note_cards_kept(*, farm: Farm, words: str, from_on: date, actor: Actor, now: datetime) -> CardsKept:
    """Note where the cards are kept from a day on. Raises CardsKeptRefused."""
    head = lock_heads([farm.id])[farm.id]
    faults = line_faults("words", words, MOST, MISSING)
    if from_on > local_date(now, farm.time_zone) + AHEAD:
        faults.append(Detail("/from_on", str(TOO_FAR), "too_far"))
    if faults:
        raise CardsKeptRefused(errors=faults)
    row = CardsKept.objects.create(
        farm_id=farm.id, words=words.strip(), from_on=from_on, actor_kind=actor.kind, recorded_at=now,
        salt=secrets.token_bytes(16), entry=next_number(head),
    )  # fmt: skip
    append(head, kind="cards_kept", actor=actor, row_hashes=[hash_again(row)], now=now)
    return row
