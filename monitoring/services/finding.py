"""What becomes of a finding: done, looked at again, gone or still there; and a step that was noted wrongly."""

from dataclasses import dataclass
from datetime import date, datetime
from itertools import pairwise

from django.db import transaction
from django.utils.translation import gettext_lazy as _

from farms.chained_rows import hash_again
from farms.clock import local_date
from farms.errors import Detail
from farms.ledger import Actor, append, lock_heads, next_number
from farms.models import Farm
from monitoring.errors import AlreadyMended, FindingRefused, NothingToDo
from monitoring.models import Finding, FindingStep, FindingStepWords
from monitoring.models.walk import StepKind
from monitoring.rules.walk import LOOK_AGAIN_AFTER, step_faults, why_faults, words_faults
from monitoring.selectors.walk import steps_of
from monitoring.services.words import sealed

ONLY_A_MISTAKE = _("Only a step that was noted by mistake is withdrawn. Name which one it replaces.")
AFTER_THE_NEXT = _("This day is after the step that followed, on {day}. Correct the day.")


@dataclass(frozen=True)
class StepSent:
    """A step as somebody notes it. `kind` is one of models.walk.StepKind; `due_on` the day of what comes next."""

    kind: str
    on: date
    due_on: date | None = None
    note: str = ""


@dataclass(frozen=True)
class StepMended:
    """Which step was noted wrongly, and why it is changed."""

    replaces: FindingStep
    reason: str


@transaction.atomic
def record_step(
    *, finding: Finding, step: StepSent, actor: Actor, now: datetime, mending: StepMended | None = None
) -> FindingStep:
    """Note what became of a finding (its newest version). With `mending` it replaces an earlier step, and both stay.

    Raises FindingRefused, NothingToDo or AlreadyMended.
    """
    farm = Farm.objects.only("id", "time_zone").get(id=finding.farm_id)
    head = lock_heads([farm.id])[farm.id]
    steps = standing_steps(finding)
    faults = _faults(finding, step, steps, mending, local_date(now, farm.time_zone))
    if faults:
        raise FindingRefused(errors=faults)
    if mending is None:
        _check_state(finding, step, steps)
    elif mending.replaces.id not in {each.id for each in steps}:
        raise AlreadyMended()
    due_on = step.due_on or (step.on + LOOK_AGAIN_AFTER if step.kind == StepKind.DONE else None)
    seal = sealed({"note": step.note, "reason": mending.reason if mending else ""})
    row = FindingStep.objects.create(
        farm_id=farm.id, finding_id=finding.known_as, kind=step.kind, on=step.on, due_on=due_on,
        number=mending.replaces.number if mending else FindingStep.objects.filter(
            farm_id=farm.id, finding_id=finding.known_as, replaces_id=None
        ).count() + 1,
        replaces_id=mending.replaces.id if mending else None, words_hash=seal.hash, actor_kind=actor.kind,
        noted_by=actor.id, recorded_at=now, entry=next_number(head),
    )  # fmt: skip
    if seal.words:
        FindingStepWords.objects.create(farm_id=farm.id, step_id=row.id, words=seal.words, salt=seal.salt)
    append(head, kind="finding_step", actor=actor, row_hashes=[hash_again(row)], now=now)
    return row


def standing_steps(finding: Finding) -> list[FindingStep]:
    """The steps that no later one replaced, in order, without those noted by mistake."""
    return [row for row in steps_of(finding) if not row.replaced and row.kind != StepKind.WITHDRAWN]


def _faults(
    finding: Finding, step: StepSent, steps: list[FindingStep], mending: StepMended | None, today: date
) -> list[Detail]:
    number = mending.replaces.number if mending else None
    days = [finding.seen_on, *(each.on for each in steps if number is None or each.number < number)]
    faults = step_faults(step.kind, step.on, step.due_on, max(days), today) + words_faults({"note": step.note})
    if mending is None:
        withdrawn = step.kind == StepKind.WITHDRAWN
        return faults + ([Detail("/kind", str(ONLY_A_MISTAKE), "kind_unknown")] if withdrawn else [])
    later = next((each for before, each in pairwise(steps) if before.id == mending.replaces.id), None)
    if later is not None and step.on > later.on:
        faults.append(Detail("/on", str(AFTER_THE_NEXT).format(day=later.on.isoformat()), "after_the_next"))
    return faults + why_faults(mending.reason)


def _check_state(finding: Finding, step: StepSent, steps: list[FindingStep]) -> None:
    """Nothing is done about what is not there; that it is there after all can be noted of what was gone."""
    gone = bool(steps) and steps[-1].kind == StepKind.GONE
    if finding.nothing or finding.withdrawn or (gone and step.kind != StepKind.STILL_THERE):
        raise NothingToDo()
