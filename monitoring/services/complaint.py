"""Complaints: what was said, what was answered; each mended by a later row with its reason."""

from dataclasses import dataclass
from datetime import date, datetime

from django.db import transaction

from farms.chained_rows import hash_again
from farms.clock import local_date
from farms.ids import uuid7
from farms.ledger import Actor, append, lock_heads, next_number
from farms.models import Farm
from monitoring.errors import AlreadyMended, ComplaintRefused
from monitoring.models import Complaint, ComplaintAnswer, ComplaintAnswerWords, ComplaintWords
from monitoring.rules.complaint import answer_faults, complaint_faults
from monitoring.rules.walk import why_faults
from monitoring.services.words import sealed


@dataclass(frozen=True)
class ComplaintTyped:
    """What was said and when, how it came, from whom and from where, in words."""

    heard_on: date
    came: str
    said_by: str
    said: str
    sender: str = ""
    place: str = ""


@dataclass(frozen=True)
class AnswerTyped:
    """What was answered and when, how it went out, and who answered."""

    answered_on: date
    went: str
    answered: str
    by: str = ""


@dataclass(frozen=True)
class Why:
    """Which row is mended, a complaint's or an answer's newest, and why."""

    replaces: Complaint | ComplaintAnswer
    reason: str


@transaction.atomic
def record_complaint(
    *, farm: Farm, typed: ComplaintTyped, actor: Actor, now: datetime, mending: Why | None = None
) -> Complaint:
    """Note a complaint. With `mending` it replaces an earlier one, and both stay.

    Raises ComplaintRefused or AlreadyMended.
    """
    head = lock_heads([farm.id])[farm.id]
    words = {"said": typed.said, "sender": typed.sender, "place": typed.place}
    kinds = {"came": typed.came, "said_by": typed.said_by}
    faults = complaint_faults(typed.heard_on, kinds, words, local_date(now, farm.time_zone))
    faults += why_faults(mending.reason) if mending else []
    if faults:
        raise ComplaintRefused(errors=faults)
    before = mending.replaces if mending else None
    if before is not None and Complaint.objects.filter(farm_id=farm.id, replaces_id=before.id).exists():
        raise AlreadyMended()
    seal = sealed({**words, "reason": mending.reason if mending else ""})
    row = Complaint.objects.create(
        farm_id=farm.id, id=uuid7(), heard_on=typed.heard_on, words_hash=seal.hash, actor_kind=actor.kind,
        noted_by=actor.id, recorded_at=now, entry=next_number(head), replaces_id=before.id if before else None,
        origin_id=before.known_as if isinstance(before, Complaint) else None, **kinds,
    )  # fmt: skip
    ComplaintWords.objects.create(farm_id=farm.id, complaint_id=row.id, words=seal.words, salt=seal.salt)
    append(head, kind="complaint", actor=actor, row_hashes=[hash_again(row)], now=now)
    return row


@transaction.atomic
def answer_complaint(
    *, complaint: Complaint, typed: AnswerTyped, actor: Actor, now: datetime, mending: Why | None = None
) -> ComplaintAnswer:
    """Note an answer to a complaint (its newest version). With `mending` it replaces an earlier one, and both stay.

    Raises ComplaintRefused or AlreadyMended.
    """
    farm = Farm.objects.only("id", "time_zone").get(id=complaint.farm_id)
    head = lock_heads([farm.id])[farm.id]
    words = {"answered": typed.answered, "by": typed.by}
    today = local_date(now, farm.time_zone)
    faults = answer_faults(typed.answered_on, typed.went, words, complaint.heard_on, today)
    faults += why_faults(mending.reason) if mending else []
    if faults:
        raise ComplaintRefused(errors=faults)
    replaces_id = mending.replaces.id if mending else None
    if mending and ComplaintAnswer.objects.filter(farm_id=farm.id, replaces_id=replaces_id).exists():
        raise AlreadyMended()
    seal = sealed({**words, "reason": mending.reason if mending else ""})
    row = ComplaintAnswer.objects.create(
        farm_id=farm.id, id=uuid7(), complaint_id=complaint.known_as, answered_on=typed.answered_on, went=typed.went,
        words_hash=seal.hash, actor_kind=actor.kind, noted_by=actor.id, recorded_at=now, entry=next_number(head),
        replaces_id=replaces_id,
    )  # fmt: skip
    ComplaintAnswerWords.objects.create(farm_id=farm.id, answer_id=row.id, words=seal.words, salt=seal.salt)
    append(head, kind="complaint_answer", actor=actor, row_hashes=[hash_again(row)], now=now)
    return row
