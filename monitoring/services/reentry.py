"""Kept out: a label's re-entry time typed into the farm's log, and one that was typed wrongly mended by a later row."""

from dataclasses import dataclass
from datetime import datetime

from django.db import transaction
from django.utils.translation import gettext_lazy as _

from farms.chained_rows import hash_again
from farms.errors import Detail
from farms.ledger import Actor, append, lock_heads, next_number
from farms.models import Facility, Farm
from monitoring.errors import AlreadyReplaced, ReentryRefused
from monitoring.models import Reentry
from monitoring.rules.reentry import WHY_MISSING, reentry_faults, words_faults

FACILITY_ELSEWHERE = _("This barn or lot isn't one of this farm's. Choose one of the farm's own, or leave it empty.")


@dataclass(frozen=True)
class ReentryTyped:
    """A label's time as somebody typed it, of a facility or (None) of the whole farm."""

    begins_at: datetime
    until: datetime
    label_says: str
    facility: Facility | None = None


@dataclass(frozen=True)
class Mending:
    """Which re-entry time was typed wrongly, and why it is changed."""

    replaces: Reentry
    reason: str


@transaction.atomic
def record_reentry(
    *, farm: Farm, typed: ReentryTyped, actor: Actor, now: datetime, mending: Mending | None = None
) -> Reentry:
    """Note until when a label keeps people out. With `mending` it replaces an earlier one, and both stay.

    Raises ReentryRefused, or AlreadyReplaced where something else was mended already.
    """
    head = lock_heads([farm.id])[farm.id]
    says, why = typed.label_says.strip(), mending.reason.strip() if mending else ""
    faults = reentry_faults(typed.begins_at, typed.until, says, now)
    if mending is not None:
        faults += words_faults("reason", why, WHY_MISSING)
    if typed.facility is not None and typed.facility.farm_id != farm.id:
        faults.append(Detail("/facility_id", str(FACILITY_ELSEWHERE), "unknown_facility"))
    if faults:
        raise ReentryRefused(errors=faults)
    if mending and Reentry.objects.filter(farm_id=farm.id, replaces_id=mending.replaces.id).exists():
        raise AlreadyReplaced()
    row = Reentry.objects.create(
        farm_id=farm.id, facility_id=typed.facility.id if typed.facility else None, begins_at=typed.begins_at,
        until=typed.until, label_says=says, typed_by=actor.id, actor_kind=actor.kind, recorded_at=now,
        replaces_id=mending.replaces.id if mending else None, reason=why, entry=next_number(head),
    )  # fmt: skip
    append(head, kind="reentry", actor=actor, row_hashes=[hash_again(row)], now=now)
    return row
