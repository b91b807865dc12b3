"""Correcting a reading: a later row replaces it, with a reason; nothing is ever overwritten."""

from dataclasses import dataclass, replace
from datetime import date, datetime
from decimal import Decimal
from typing import Any
from uuid import UUID

from django.db import transaction
from django.utils.translation import gettext_lazy as _

from farms.errors import Detail, Missing
from farms.ledger import Actor, append, lock_heads, next_number, row_hash, row_values
from farms.models import Farm, LedgerHead
from monitoring.errors import AlreadyCorrected, AlreadyWithdrawn, ReadingDiffers, ReadingRefused
from monitoring.models import Placement, Reading
from monitoring.models.reading import CorrectionKind
from monitoring.rules.readings import leaves_it_up
from monitoring.services.ground import Ground, ground_of, week_of
from monitoring.services.placing import Hangings, hangings_of
from monitoring.services.reading import Came, placement_rows, reading_row, reading_values, sent_again, table_of_readings
from monitoring.services.sent import ReadingSent
from monitoring.services.summary import refresh_summaries
from monitoring.services.taking import raise_conflicts, sort_out

KIND_UNKNOWN = _("Say why it is corrected, with one of: {kinds}.")
WITHDRAWN: dict[str, Any] = {
    "how": "counted", "count": None, "fraction": Decimal(1), "at_least": False, "reason": "", "animals": None,
    "placement_id": None,
}  # fmt: skip
KEPT = (
    "round_id", "station_id", "method", "hung_on", "taken_on", "sides", "pen", "time_of_day", "weather", "bunching",
    "sprayed",
)  # fmt: skip


@dataclass(frozen=True)
class Correcting:
    """A correction while it is judged: what was sent, and what it replaces."""

    came: Came
    ground: Ground
    original: Reading
    sent: ReadingSent
    kind: str

    @property
    def withdraws(self) -> bool:
        return self.kind == CorrectionKind.WITHDRAWN


@transaction.atomic
def correct_reading(
    *, farm: Farm, reading_id: UUID, correction: ReadingSent, kind: str, actor: Actor, now: datetime
) -> Reading:
    """Replace a reading by another, for a reason (models.reading.CorrectionKind). The same again is answered as stored.

    What the correction leaves out of `taken_on`, `hung_on` and `placement_id` stays as it was. "withdrawn" takes the
    reading back: of what is sent only the id counts. Raises Missing, ReadingRefused, ReadingDiffers, AlreadyCorrected,
    AlreadyWithdrawn or AlreadyRead.
    """
    head = lock_heads([farm.id])[farm.id]
    if kind not in CorrectionKind.values:
        kinds = ", ".join(CorrectionKind.values)
        raise ReadingRefused(errors=[Detail("/kind", str(KIND_UNKNOWN).format(kinds=kinds), "kind_unknown")])
    original = Reading.objects.filter(farm_id=farm.id, id=reading_id).first()
    if original is None:
        raise Missing()
    came = Came(farm, next_number(head), now)
    work = Correcting(came, ground_of(farm, now), original, _as_before(original, correction), str(kind))
    known = Reading.objects.filter(farm_id=farm.id, id=correction.id).first()
    if known is not None:
        return _answered_as_stored(work, known)
    _refuse_second(original)
    return _store(work, head, actor)


def _answered_as_stored(work: Correcting, known: Reading) -> Reading:
    """The correction that is stored under this id, if it says what is sent now."""
    table = table_of_readings([work.sent], work.original.taken_on, single=True)
    station = work.ground.station_named(str(work.sent.station_id))
    if table.faults or station is None or (known.corrects_id, known.correction_kind) != (work.original.id, work.kind):
        raise ReadingDiffers(pointer="/id", label=known.station.label)
    values = reading_values(table, 0, station, work.ground.farm)
    if not work.withdraws and not sent_again(known, values, table, 0):
        raise ReadingDiffers(pointer="/id", label=known.station.label)
    return known


def _refuse_second(original: Reading) -> None:
    if original.correction_kind == CorrectionKind.WITHDRAWN:
        raise AlreadyWithdrawn()
    later = Reading.objects.filter(farm_id=original.farm_id, corrects_id=original.id).first()
    if later is not None:
        raise AlreadyCorrected(by=str(later.id))


def _store(work: Correcting, head: LedgerHead, actor: Actor) -> Reading:
    hangings = _hangings(work)
    values = _values(work, hangings) | {"corrects_id": work.original.id, "correction_kind": work.kind}
    row = reading_row(work.came, values)
    _hang_again(work.original, row, hangings)
    placements = placement_rows(work.came, hangings.new())
    Placement.objects.bulk_create(placements)
    Reading.objects.bulk_create([row])
    hashes = [row_hash(each._meta.db_table, row_values(each)) for each in (*placements, row)]
    append(head, kind="correction", actor=actor, row_hashes=hashes, now=work.came.now)
    weeks = {week_of(each.hung_on, each.taken_on) for each in (work.original, row)}
    refresh_summaries(farm_ids=[row.farm_id], weeks=weeks)
    return row


def _values(work: Correcting, hangings: Hangings) -> dict[str, Any]:
    """The columns of the correcting row. Raises what the rules and other readings say against it."""
    original = work.original
    if work.withdraws:
        return {name: getattr(original, name) for name in KEPT} | WITHDRAWN | {"id": work.sent.id}
    table = table_of_readings([work.sent], original.taken_on, single=True)
    taking = sort_out(table, work.ground, hangings, replaced=original.id)
    if taking.faults:
        raise ReadingRefused(errors=table.details(taking.faults))
    raise_conflicts(taking)
    if not taking.new:
        raise ReadingDiffers(pointer="/id", label=original.station.label)
    reading = taking.new[0]
    hanging = reading.hanging
    where = {"placement_id": hanging.id if hanging else None, "hung_on": hanging.hung_on if hanging else None}
    return {**reading.values, **where, "round_id": original.round_id}


def _as_before(original: Reading, correction: ReadingSent) -> ReadingSent:
    """The correction with what it leaves out taken from the original, where it stays at its station."""
    taken_on = correction.taken_on or original.taken_on
    if correction.station_id != original.station_id:
        return replace(correction, taken_on=taken_on)
    if leaves_it_up(original.reason):
        # What was left up is taken down now, or left up again: whatever hangs there since that day.
        return replace(correction, taken_on=taken_on, hung_on=correction.hung_on or original.hung_on)
    return replace(correction, taken_on=taken_on, placement_id=correction.placement_id or original.placement_id)


def _hangings(work: Correcting) -> Hangings:
    """What hangs at the stations concerned; what the original took down counts as hanging, for its correction."""
    original, sent = work.original, work.sent
    days = [day for day in (original.taken_on, sent.taken_on) if type(day) is date]
    named = {each for each in (original.placement_id, sent.placement_id) if each is not None}
    hangings = hangings_of(original.farm_id, {original.station_id, sent.station_id}, since=min(days), named=named)
    own = hangings.by_id.get(original.placement_id) if original.placement_id else None
    if own is not None and not leaves_it_up(original.reason):
        lineage = _lineage(original)
        own.ended_by = [each for each in own.ended_by if each not in lineage]
        # A wrong day of hanging is corrected in the reading; the placement's own record stays.
        own.hung_on = sent.hung_on if type(sent.hung_on) is date else original.hung_on or own.hung_on
    return hangings


def _lineage(reading: Reading) -> set[UUID]:
    """The reading and what it corrects in its turn."""
    found, corrects = {reading.id}, reading.corrects_id
    while corrects is not None:
        found.add(corrects)
        before = Reading.objects.filter(farm_id=reading.farm_id, id=corrects).values_list("corrects_id", flat=True)
        corrects = before[0]
    return found


def _hang_again(original: Reading, row: Reading, hangings: Hangings) -> None:
    """Where a correction shows that the card or trap still hangs, hang it anew under its old day.

    A placement is taken down once and for all. Nothing is hung where a fresh one hangs already.
    """
    placement = original.placement_id
    took_down = placement is not None and not leaves_it_up(original.reason)
    takes_down = row.placement_id == placement and not leaves_it_up(row.reason)
    fresh = any(each.hung_on >= original.taken_on for each in hangings.by_station[original.station_id] if each.is_up)
    if took_down and not takes_down and not fresh and original.hung_on is not None:
        hangings.hang(original.station_id, original.hung_on)
