"""Work planned, once or again and again; a day of it left out; and a plan ended. Rows are only added."""

from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django.db import transaction
from django.db.models import QuerySet
from django.utils.formats import date_format
from django.utils.translation import gettext_lazy as _

from farms.chained_rows import hash_again
from farms.clock import local_date
from farms.errors import Detail
from farms.ids import uuid7
from farms.ledger import Actor, append, lock_heads, next_number
from farms.models import Facility, Farm
from monitoring.errors import AlreadyLeftOut, PlanEnded, PlannedDayDone, PlannedStepRefused, PlannedWorkRefused
from monitoring.models import PlannedStep, PlannedWork, Product, Work
from monitoring.models.planned_work import APPLICATION, PLAN_KINDS, StepKind
from monitoring.rules.planned_work import NOT_PLANNED, days_of, plan_faults
from monitoring.rules.work import facts_faults, kind_faults, why_faults, words_faults
from monitoring.selectors.application import standing_rows
from monitoring.services.planned_use import ask_first, use_faults
from monitoring.services.reentry import FACILITY_ELSEWHERE
from monitoring.services.work import day_done, said_by
from monitoring.services.work_words import keep_words

KINDS = [str(kind) for kind, _label in PLAN_KINDS]
ENDED_OUTSIDE = _("The plan isn't under way on this day. Give a day from its first to its last one.")


@dataclass(frozen=True)
class WorkPlanned:
    """What is to be done, in one facility or (None) on the whole farm. `kind` is one of models.planned_work.PLAN_KINDS.

    With `every`, `unit` (models.planned_work.Unit) and `last_day` it is done again and again. `words` say what to do;
    `species` and `number` are of wasps, and what one tap notes of them; `use_kind` or `product` is of an application,
    and `thought_of` says that what is asked first was thought of.
    """

    kind: str
    first_day: date
    facility: Facility | None = None
    every: int | None = None
    unit: str = ""
    last_day: date | None = None
    words: str = ""
    species: str = ""
    number: int | None = None
    use_kind: str = ""
    product: Product | None = None
    thought_of: bool = False

    @property
    def is_for(self) -> str:
        """What the product of an application is for: as its label says, where it is of the group's list."""
        return self.product.kind if self.product else self.use_kind


@transaction.atomic
def plan_work(*, farm: Farm, plan: WorkPlanned, actor: Actor, now: datetime) -> PlannedWork:
    """Put planned work on record. Raises PlannedWorkRefused, or AskedFirst for an application to be thought of."""
    head = lock_heads([farm.id])[farm.id]
    words, species = plan.words.strip(), plan.species.strip()
    faults = kind_faults(plan.kind, KINDS) + plan_faults(plan, local_date(now, farm.time_zone))
    faults += words_faults("words", words) + facts_faults(
        plan.kind, {"species": species or None, "number": plan.number}
    )
    faults += use_faults(farm, plan.kind, plan.is_for, plan.product, plan.first_day)
    if plan.facility is not None and plan.facility.farm_id != farm.id:
        faults.append(Detail("/facility_id", str(FACILITY_ELSEWHERE), "unknown_facility"))
    if faults:
        raise PlannedWorkRefused(errors=faults)
    place = plan.facility.id if plan.facility else None
    if plan.kind == APPLICATION and not plan.thought_of:
        ask_first(farm, plan.is_for, plan.product, place, days_of(plan))
    row_id = uuid7()
    row = PlannedWork.objects.create(
        farm_id=farm.id, id=row_id, facility_id=place, **_columns(plan), actor_kind=actor.kind, recorded_at=now,
        entry=next_number(head),
    )  # fmt: skip
    hashes = [hash_again(row), *keep_words(farm.id, row_id, words, row.entry)]
    append(head, kind="planned_work", actor=actor, row_hashes=hashes, now=now)
    return row


def _columns(plan: WorkPlanned) -> dict[str, Any]:
    return {
        "kind": plan.kind,
        "first_day": plan.first_day,
        "every": plan.every,
        "unit": plan.unit,
        "last_day": plan.last_day,
        "species": plan.species.strip(),
        "number": plan.number,
        "use_kind": plan.is_for,
        "product_id": plan.product.id if plan.product else None,
    }


@transaction.atomic
def leave_out(*, planned: PlannedWork, day: date, why: str, actor: Actor, now: datetime) -> PlannedStep:
    """One day of a plan isn't done, and why. Raises PlannedStepRefused, PlannedDayDone, AlreadyLeftOut or PlanEnded."""
    lock_heads([planned.farm_id])
    if day not in days_of(planned):
        raise PlannedStepRefused(errors=[Detail("/day", str(NOT_PLANNED), "not_planned")])
    _refuse_done(planned, day)
    ended = _steps(planned, StepKind.ENDED).filter(day__lte=day).first()
    if ended is not None:
        raise PlanEnded(day=date_format(ended.day))
    if _steps(planned, StepKind.LEFT_OUT).filter(day=day).exists():
        raise AlreadyLeftOut()
    return _step(planned, StepKind.LEFT_OUT, day, why, actor, now)


def _refuse_done(planned: PlannedWork, day: date) -> None:
    """A day that a work or an application stands for was done: it can't be left out."""
    of_day = {"farm_id": planned.farm_id, "planned_id": planned.id, "planned_for": day}
    if (work := Work.objects.standing().filter(**of_day).first()) is not None:
        raise day_done(work, day)
    applied = standing_rows().select_related("farm").filter(**of_day).first()
    if applied is not None:
        done_on = local_date(applied.begins_at, applied.farm.time_zone)
        raise PlannedDayDone(
            application=applied.id, day=date_format(day), done_on=date_format(done_on), who=said_by(applied)
        )  # fmt: skip


@transaction.atomic
def end_plan(*, planned: PlannedWork, day: date, why: str, actor: Actor, now: datetime) -> PlannedStep:
    """From a day on nothing of a plan is to be done any more. Raises PlannedStepRefused or PlanEnded."""
    lock_heads([planned.farm_id])
    if not planned.first_day <= day <= days_of(planned)[-1]:
        raise PlannedStepRefused(errors=[Detail("/day", str(ENDED_OUTSIDE), "outside_the_plan")])
    ended = _steps(planned, StepKind.ENDED).first()
    if ended is not None:
        raise PlanEnded(day=date_format(ended.day))
    return _step(planned, StepKind.ENDED, day, why, actor, now)


def _steps(planned: PlannedWork, kind: str) -> QuerySet[PlannedStep]:
    return PlannedStep.objects.filter(farm_id=planned.farm_id, planned_id=planned.id, kind=kind)


def _step(planned: PlannedWork, kind: str, day: date, why: str, actor: Actor, now: datetime) -> PlannedStep:
    why = why.strip()
    faults = why_faults(why)
    if faults:
        raise PlannedStepRefused(errors=faults)
    head, row_id = lock_heads([planned.farm_id])[planned.farm_id], uuid7()
    row = PlannedStep.objects.create(
        farm_id=planned.farm_id, id=row_id, planned_id=planned.id, kind=kind, day=day,
        actor_kind=actor.kind, recorded_at=now,
        entry=next_number(head),
    )  # fmt: skip
    hashes = [hash_again(row), *keep_words(planned.farm_id, row_id, why, row.entry)]
    append(head, kind="planned_step", actor=actor, row_hashes=hashes, now=now)
    return row
