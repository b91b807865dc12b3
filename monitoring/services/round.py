"""Recording a round: one walk of a farm's stations, or the part of it that one person sends."""

from collections.abc import Iterable
from datetime import date, datetime
from typing import Any
from uuid import UUID

from django.db import transaction
from django.utils.translation import gettext_lazy as _

from farms.errors import Detail
from farms.ledger import Actor, append, lock_heads, next_number
from farms.models import Farm, Person
from farms.rows import NewRow, insert_rows
from monitoring.errors import ReadingRefused, RoundDiffers
from monitoring.models import Note, Reading, Round
from monitoring.models.round import Source
from monitoring.rules.cells import WrongCell, day, moment
from monitoring.rules.readings import day_text
from monitoring.services.ground import Ground, ground_of, week_of
from monitoring.services.hanging import day_faults, hang_all, station_ids
from monitoring.services.note import new_notes, note_faults, note_hash
from monitoring.services.placing import hangings_of
from monitoring.services.reading import Came, placement_rows, reading_row, table_of_readings
from monitoring.services.sent import RoundSent
from monitoring.services.summary import refresh_summaries
from monitoring.services.taking import New, Taking, raise_conflicts, sort_out

MOST_IN_A_ROUND = 2_000
SOURCE_UNKNOWN = _("Say how the round came in, with one of: {sources}.")
PERSON_UNKNOWN = _("Nobody of this farm has that id. Choose a name from the farm's list, or leave it empty.")
TOO_MANY = _("A round holds at most 2,000 readings. Send the rest as a second round, or all of it as a file.")


@transaction.atomic
def record_round(*, farm: Farm, sent: RoundSent, actor: Actor, now: datetime) -> Round:
    """Store a round, or add to it what is new: sent five times, it is stored once.

    Raises ReadingRefused, ReadingDiffers, RoundDiffers or AlreadyRead, and then nothing is stored; Missing for a farm
    that may not be written.
    """
    head = lock_heads([farm.id])[farm.id]
    came = Came(farm, next_number(head), now)
    ground = ground_of(farm, now)
    stored = Round.objects.filter(farm_id=farm.id, id=sent.id).first()
    taking = _judged(sent, ground, stored)
    notes = new_notes(sent.notes, sent.id, came, _ids(taking))
    rows = [_row(came, sent.id, reading) for reading in taking.new]
    placements = placement_rows(came, taking.hangings.new())
    if stored is not None and not (rows or placements or notes):
        return stored
    found = stored or Round(**_round_values(came, sent, actor))
    found.is_new = stored is None
    new = [NewRow.of(row) for row in (*([] if stored else [found]), *placements, *rows)]
    insert_rows(new, entry=came.entry)
    Note.objects.bulk_create(notes)
    hashes = [each.hash for each in new] + [note_hash(note) for note in notes]
    append(head, kind="round", actor=actor, row_hashes=hashes, now=now)
    refresh_summaries(farm_ids=[farm.id], weeks=weeks_of(rows))
    return found


def weeks_of(rows: Iterable[Reading]) -> set[date]:
    """The Mondays of the weeks that these readings belong to."""
    return {week_of(row.hung_on, row.taken_on) for row in rows}


def _judged(sent: RoundSent, ground: Ground, stored: Round | None) -> Taking:
    """The round's readings, sorted out; or everything that is wrong, in one error."""
    details = _walk_faults(sent, ground)
    if details:
        raise ReadingRefused(errors=details)
    if stored is not None and stored.walked_on != sent.walked_on:
        raise RoundDiffers(pointer="/walked_on", stored=day_text(stored.walked_on))
    table = table_of_readings(sent.readings, sent.walked_on)
    named = {UUID(each) for each in table.columns.placement if each} | {each.id for each in sent.hung}
    told = (*table.columns.taken_on, *(each.hung_on for each in sent.hung))
    days = [sent.walked_on, *(each for each in told if type(each) is date)]
    hangings = hangings_of(ground.farm.id, station_ids(sent.readings, sent.hung), since=min(days), named=named)
    details = hang_all(sent.hung, ground, hangings)
    taking = sort_out(table, ground, hangings)
    details += table.details(taking.faults) + note_faults(sent.notes, ground.farm.id, _ids(taking))
    if details:
        raise ReadingRefused(errors=details)
    raise_conflicts(taking)
    return taking


def _walk_faults(sent: RoundSent, ground: Ground) -> list[Detail]:
    """What is wrong with the round itself."""
    if len(sent.readings) > MOST_IN_A_ROUND or len(sent.hung) > MOST_IN_A_ROUND or len(sent.notes) > MOST_IN_A_ROUND:
        return [Detail("/readings", str(TOO_MANY), "too_many_readings")]
    faults = []
    moments = dict.fromkeys(("observed_at", "submitted_at", "sent_at"), moment)
    for name, check in {"walked_on": day, "typed_on": day, **moments}.items():
        value = getattr(sent, name)
        try:
            if value is not None or name == "walked_on":
                check(value)
        except WrongCell as error:
            faults.append((name, error.code, str(error.reason)))
    if sent.source not in Source.values:
        listed = ", ".join(Source.values)
        faults.append(("source", "source_unknown", str(SOURCE_UNKNOWN).format(sources=listed)))
    if not faults:
        faults = day_faults("walked_on", sent.walked_on, ground.calendar) + _typing_faults(sent, ground)
    return [Detail(f"/{name}", reason, code) for name, code, reason in faults]


def _typing_faults(sent: RoundSent, ground: Ground) -> list[tuple[str, str, str]]:
    """What is wrong with who counted, who typed, and when."""
    faults = []
    if sent.typed_on is not None and sent.typed_on > ground.calendar.today:
        faults += day_faults("typed_on", sent.typed_on, ground.calendar)
    wanted = {name: getattr(sent, name) for name in ("counted_by", "typed_by") if getattr(sent, name) is not None}
    people = Person.objects.filter(farm_id=ground.farm.id, id__in=wanted.values())
    there = set(people.values_list("id", flat=True)) if wanted else set()
    missing = [name for name, person in wanted.items() if person not in there]
    return faults + [(name, "unknown_person", str(PERSON_UNKNOWN)) for name in missing]


def _ids(taking: Taking) -> dict[UUID, UUID]:
    return {reading.values["id"]: reading.values["id"] for reading in taking.new} | taking.known


def _row(came: Came, round_id: UUID, reading: New) -> Reading:
    hanging = reading.hanging
    where = {"placement_id": hanging.id if hanging else None, "hung_on": hanging.hung_on if hanging else None}
    return reading_row(came, {**reading.values, **where, "round_id": round_id})


def _round_values(came: Came, sent: RoundSent, actor: Actor) -> dict[str, Any]:
    same = ("id", "walked_on", "source", "counted_by", "typed_by", "typed_on", "observed_at", "submitted_at")
    return {name: getattr(sent, name) for name in same} | {
        "farm_id": came.farm.id,
        "actor_kind": actor.kind,
        "received_at": came.now,
        "clock_ahead": _clock_ahead(sent, came.now),
        "entry": came.entry,
    }


def _clock_ahead(sent: RoundSent, now: datetime) -> int | None:
    """Seconds by which the sender's clock was ahead of ours, as far as a column of whole numbers reaches."""
    if sent.sent_at is None:
        return None
    return max(-(2**31), min(2**31 - 1, round((sent.sent_at - now).total_seconds())))
