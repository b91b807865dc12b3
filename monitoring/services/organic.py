"""A farm kept organic: since when, and what its certifier answered about a product."""

from dataclasses import dataclass
from datetime import date, datetime

from django.db import transaction
from django.utils.translation import gettext_lazy as _

from farms.chained_rows import hash_again
from farms.clock import local_date
from farms.errors import Detail
from farms.ledger import Actor, append, lock_heads, next_number
from farms.models import Farm
from monitoring.errors import OrganicRefused
from monitoring.models import CertifierAnswer, OrganicMark
from monitoring.models.application import CertifierSaid
from monitoring.rules.from_day import from_day_faults
from monitoring.rules.label import NAME_MISSING, NUMBER_MISSING, choice_faults, line_faults
from monitoring.rules.walk import day_faults

FUTURE = _("This day is still to come. Type when the certifier was asked and answered.")
ANSWERED_FIRST = _("The answer is older than the question. Correct one of the two days.")
SAID_UNKNOWN = _("Say what the certifier answered. Use one of: {kinds}.")


@dataclass(frozen=True)
class CertifierTyped:
    """What the certifier was asked about a product, and answered."""

    product_name: str
    registration_number: str
    asked_on: date
    answered_on: date
    said: str
    words: str = ""


@transaction.atomic
def mark_organic(*, farm: Farm, is_organic: bool, from_on: date, actor: Actor, now: datetime) -> OrganicMark:
    """Note that the farm is kept organic from a day on, or is so no more. Raises OrganicRefused."""
    head = lock_heads([farm.id])[farm.id]
    faults = from_day_faults(from_on, local_date(now, farm.time_zone))
    if faults:
        raise OrganicRefused(errors=faults)
    row = OrganicMark.objects.create(
        farm_id=farm.id, is_organic=is_organic, from_on=from_on, marked_by=actor.id, actor_kind=actor.kind,
        recorded_at=now, entry=next_number(head),
    )  # fmt: skip
    append(head, kind="organic", actor=actor, row_hashes=[hash_again(row)], now=now)
    return row


@transaction.atomic
def note_certifier_answer(*, farm: Farm, typed: CertifierTyped, actor: Actor, now: datetime) -> CertifierAnswer:
    """Keep what the certifier answered about a product. Raises OrganicRefused."""
    head = lock_heads([farm.id])[farm.id]
    faults = _answer_faults(typed, local_date(now, farm.time_zone))
    if faults:
        raise OrganicRefused(errors=faults)
    row = CertifierAnswer.objects.create(
        farm_id=farm.id, **vars(typed), typed_by=actor.id, actor_kind=actor.kind, recorded_at=now,
        entry=next_number(head),
    )  # fmt: skip
    append(head, kind="certifier_answer", actor=actor, row_hashes=[hash_again(row)], now=now)
    return row


def _answer_faults(typed: CertifierTyped, today: date) -> list[Detail]:
    faults = line_faults("product_name", typed.product_name, 120, NAME_MISSING)
    faults += line_faults("registration_number", typed.registration_number, 40, NUMBER_MISSING)
    faults += line_faults("words", typed.words, 300)
    faults += choice_faults("said", typed.said, CertifierSaid.values, SAID_UNKNOWN)
    for name in ("asked_on", "answered_on"):
        faults += day_faults(name, getattr(typed, name), today, FUTURE)
    if typed.answered_on < typed.asked_on:
        faults.append(Detail("/answered_on", str(ANSWERED_FIRST), "answered_first"))
    return faults
