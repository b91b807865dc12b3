"""An adviser notes what was said on a call and what comes next, and that it was done."""

import secrets
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING

from django.db import transaction
from django.utils.translation import gettext_lazy as _

from alerts.models import CallNote
from alerts.models.call_note import LONGEST_STEP, LONGEST_TEXT
from alerts.selectors.call_notes import steps_of_farms
from farms.access import ADVISER, actor_on, role_on
from farms.clock import local_date
from farms.errors import Conflict, Forbidden, Invalid
from farms.ledger import append, lock_heads, next_number, row_hash, row_values, salted

if TYPE_CHECKING:
    from farms.models import Farm, User

FURTHEST = timedelta(days=366)


class CallNoteEmpty(Invalid):
    code = "call_note_empty"
    message = _("Write a note, or a next step with its day.")


class CallNoteTooLong(Invalid):
    code = "call_note_too_long"
    message = _("This is longer than {most} characters. Shorten it.")


class StepWithoutDay(Invalid):
    code = "step_without_day"
    message = _("A next step has words and a day. Give both, or leave both empty.")


class StepDayWrong(Invalid):
    code = "step_day_wrong"
    message = _("Choose a day from {today:%Y-%m-%d} on, at most a year ahead.")


class NoStepOpen(Conflict):
    code = "no_step_open"
    message = _("No next step is open here. Load the page again to see how it stands now.")


@dataclass(frozen=True)
class Noted:
    """What was said, and what comes next by which day: both or neither of `step` and `step_on`."""

    text: str = ""
    step: str = ""
    step_on: date | None = None


@transaction.atomic
def note_call(*, farm: "Farm", noted: Noted, by: "User", now: datetime) -> CallNote:
    """Note a call, a visit, or what comes next; for the farm's advisers. A new step takes the place of an open one.

    Raises Forbidden or Invalid kinds.
    """
    if role_on(by, farm.id) is not ADVISER:
        raise Forbidden()
    noted = Noted(_one_line(noted.text), _one_line(noted.step), noted.step_on)
    today = local_date(now, farm.time_zone)
    _check(noted, today)
    row = CallNote(farm=farm, text=noted.text, step=noted.step, step_on=noted.step_on, by=by, at=now, noted_on=today)
    return _add(row, kind="call_noted")


@transaction.atomic
def mark_step_done(*, farm: "Farm", by: "User", now: datetime) -> CallNote:
    """Note that the open next step was done; for the farm's advisers. Raises Forbidden or NoStepOpen."""
    if role_on(by, farm.id) is not ADVISER:
        raise Forbidden()
    # Locked first, so that two who say so at once are one.
    lock_heads([farm.id])
    if farm.id not in steps_of_farms([farm.id]):
        raise NoStepOpen()
    row = CallNote(farm=farm, done=True, by=by, at=now, noted_on=local_date(now, farm.time_zone))
    return _add(row, kind="step_done")


def call_note_hash(row: CallNote) -> bytes:
    """What the chain holds of a note: not its words."""
    salt = bytes(row.salt)
    words = {"text": salted(row.text, salt), "step": salted(row.step, salt)}
    return row_hash(row._meta.db_table, row_values(row, leave_out=("text", "step", "salt")) | words)


def _add(row: CallNote, *, kind: str) -> CallNote:
    head = lock_heads([row.farm_id])[row.farm_id]
    row.entry, row.salt = next_number(head), secrets.token_bytes(16)
    CallNote.objects.bulk_create([row])
    append(head, kind=kind, actor=actor_on(row.by, row.farm_id), row_hashes=[call_note_hash(row)], now=row.at)
    return row


def _one_line(text: str) -> str:
    return " ".join(text.split())


def _check(noted: Noted, today: date) -> None:
    if not noted.text and not noted.step and noted.step_on is None:
        raise CallNoteEmpty(pointer="/text")
    for name, words, most in (("text", noted.text, LONGEST_TEXT), ("step", noted.step, LONGEST_STEP)):
        if len(words) > most:
            raise CallNoteTooLong(pointer=f"/{name}", most=most)
    if bool(noted.step) != (noted.step_on is not None):
        raise StepWithoutDay(pointer="/step_on" if noted.step else "/step")
    if noted.step_on is not None and not today <= noted.step_on <= today + FURTHEST:
        raise StepDayWrong(pointer="/step_on", today=today)
