"""Notes: free words about a round or a reading. Personal, so the chain holds only a salted hash of them."""

import secrets
from collections.abc import Mapping, Sequence
from uuid import UUID

from django.utils.translation import gettext_lazy as _

from farms.errors import Detail
from farms.ledger import row_hash, row_values, salted
from monitoring.errors import RoundDiffers
from monitoring.models import Note, Reading
from monitoring.services.reading import Came
from monitoring.services.sent import NoteSent

LONGEST = 2000
EMPTY = _("The note is empty. Write something, or leave it away.")
TOO_LONG = _("The note is longer than 2,000 characters. Shorten it, or send two.")
NO_TEXT = _("The note holds characters that are no text. Type it again.")
NO_READING = _("The note names a reading that isn't there. Leave its id away, or name one of this round.")


def new_notes(notes: Sequence[NoteSent], round_id: UUID, came: Came, readings: Mapping[UUID, UUID]) -> list[Note]:
    """The rows of the notes that aren't stored yet. `readings` maps the ids sent in this round to those stored.

    Raises RoundDiffers for a known id with another text.
    """
    known = {row.id: row for row in Note.objects.filter(farm_id=came.farm.id, id__in=[note.id for note in notes])}
    for place, note in enumerate(notes):
        if note.id in known and known[note.id].text != note.text.strip():
            raise RoundDiffers(pointer=f"/notes/{place}", stored=str(_("a note")))
    return [
        Note(
            farm_id=came.farm.id, id=note.id, round_id=round_id, text=note.text.strip(), entry=came.entry,
            reading_id=readings.get(note.reading_id, note.reading_id) if note.reading_id else None,
            salt=secrets.token_bytes(16),
        )
        for note in notes
        if note.id not in known
    ]  # fmt: skip


def note_faults(notes: Sequence[NoteSent], farm_id: UUID, readings: Mapping[UUID, UUID]) -> list[Detail]:
    """What can't be right about the notes."""
    named = {note.reading_id for note in notes if note.reading_id is not None} - readings.keys()
    there = set(Reading.objects.filter(farm_id=farm_id, id__in=named).values_list("id", flat=True)) if named else set()
    faults = []
    for place, note in enumerate(notes):
        wrong = _text_fault(note.text)
        if wrong is not None:
            faults.append(Detail(f"/notes/{place}/text", *wrong))
        if note.reading_id in named - there:
            faults.append(Detail(f"/notes/{place}/reading_id", str(NO_READING), "unknown_reading"))
    return faults


def _text_fault(text: object) -> tuple[str, str] | None:
    if not isinstance(text, str) or "\x00" in text or _has_surrogate(text):
        return str(NO_TEXT), "not_text"
    if not text.strip():
        return str(EMPTY), "note_empty"
    return (str(TOO_LONG), "note_too_long") if len(text) > LONGEST else None


def _has_surrogate(text: str) -> bool:
    return any("\ud800" <= letter <= "\udfff" for letter in text)


def note_hash(note: Note) -> bytes:
    values = row_values(note, leave_out=("text", "salt"))
    return row_hash(Note._meta.db_table, values | {"text": salted(note.text, bytes(note.salt))})
