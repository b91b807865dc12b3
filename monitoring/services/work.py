"""Work done against flies. Pesticide applications are not among it: they need their full record."""

from dataclasses import dataclass
from datetime import date, datetime
from typing import Any
from uuid import UUID

from django.db import transaction
from django.utils.formats import date_format
from django.utils.translation import gettext_lazy as _

from farms.chained_rows import hash_again
from farms.clock import local_date
from farms.errors import Detail
from farms.ids import uuid7
from farms.ledger import Actor, append, lock_heads, next_number
from farms.models import Facility, Farm, LedgerHead
from farms.models.chain import ActorKind
from monitoring.errors import AlreadyNoted, AlreadyTakenBack, PlannedDayDone, WorkRefused
from monitoring.models import Application, PlannedWork, Work, WorkTakenBack
from monitoring.models.work import WorkKind
from monitoring.rules.planned_work import planned_day_faults
from monitoring.rules.work import day_faults, facts_faults, kind_faults, why_faults
from monitoring.services.reentry import FACILITY_ELSEWHERE
from monitoring.services.work_words import keep_words

OTHER_THAN_PLANNED = _("Another kind of work, or another place, was planned for this day. Note it as work of its own.")
# Who noted something, without a name: pages that may name people do.
BY = {
    ActorKind.FARM_STAFF: _("somebody of the farm"),
    ActorKind.ADVISER: _("the adviser"),
    ActorKind.PROGRAM: _("a program"),
}


@dataclass(frozen=True)
class PlannedFor:
    """Which day of which plan a work stands for."""

    planned: PlannedWork
    day: date


@dataclass(frozen=True)
class WorkDone:
    """Something done on a day, in one facility or (None) on the whole farm. `kind` is one of models.work.WorkKind.

    `thorough` and `not_reached` (words) are of a clean-out; `species`, `number` and `batch` of wasps.
    """

    kind: str
    done_on: date
    facility: Facility | None = None
    thorough: bool | None = None
    not_reached: str = ""
    species: str = ""
    number: int | None = None
    batch: str = ""
    stands_for: PlannedFor | None = None

    @property
    def facts(self) -> dict[str, Any]:
        """What belongs to one kind of work, None where nothing is said."""
        words = {name: getattr(self, name).strip() or None for name in ("not_reached", "species", "batch")}
        return {"thorough": self.thorough, "number": self.number, **words}


def as_planned(planned: PlannedWork, day: date, done_on: date) -> WorkDone:
    """What one tap notes: that it was done as it was planned."""
    return WorkDone(
        planned.kind, done_on, planned.facility, species=planned.species, number=planned.number,
        stands_for=PlannedFor(planned, day),
    )  # fmt: skip


@transaction.atomic
def record_work(*, farm: Farm, work: WorkDone, actor: Actor, now: datetime) -> Work:
    """Note work in the farm's log. Raises WorkRefused, and PlannedDayDone where somebody was quicker."""
    head = lock_heads([farm.id])[farm.id]
    _refuse(_faults(work, farm, local_date(now, farm.time_zone)))
    return _store(head, work, actor, now)


@transaction.atomic
def record_again(*, farm: Farm, work: WorkDone, actor: Actor, now: datetime) -> Work:
    """As `record_work`, for one tap: what stands noted that day of that kind and place raises AlreadyNoted."""
    head = lock_heads([farm.id])[farm.id]
    _refuse(_faults(work, farm, local_date(now, farm.time_zone)))
    place = work.facility.id if work.facility else None
    same = Work.objects.standing().filter(farm_id=farm.id, kind=work.kind, done_on=work.done_on, facility_id=place)
    known = same.order_by("id").first()
    if known is not None:
        raise AlreadyNoted(work=known.id, who=said_by(known))
    return _store(head, work, actor, now)


@transaction.atomic
def take_back_work(*, work: Work, why: str, actor: Actor, now: datetime) -> WorkTakenBack:
    """A work noted by mistake: it stays on record, and counts nowhere. Raises WorkRefused or AlreadyTakenBack."""
    head = lock_heads([work.farm_id])[work.farm_id]
    why = why.strip()
    _refuse(why_faults(why))
    if WorkTakenBack.objects.filter(farm_id=work.farm_id, work_id=work.id).exists():
        raise AlreadyTakenBack()
    row_id = uuid7()
    row = WorkTakenBack.objects.create(
        farm_id=work.farm_id, id=row_id, work_id=work.id,
        actor_kind=actor.kind, recorded_at=now, entry=next_number(head),
    )  # fmt: skip
    hashes = [hash_again(row), *keep_words(work.farm_id, row_id, why, row.entry)]
    append(head, kind="work_taken_back", actor=actor, row_hashes=hashes, now=now)
    return row


def said_by(done: Work | Application) -> str:
    """Who noted it, without a name."""
    return str(BY.get(ActorKind(done.actor_kind), _("somebody else")))


def day_done(work: Work, day: date) -> PlannedDayDone:
    """The refusal of a planned day for which a work stands already."""
    return PlannedDayDone(
        work=work.id, day=date_format(day), done_on=date_format(work.done_on), who=said_by(work)
    )  # fmt: skip


def _store(head: LedgerHead, work: WorkDone, actor: Actor, now: datetime) -> Work:
    """Behind the locked head, so that of two who note a planned day the second finds the first's."""
    stands_for, planned = work.stands_for, {}
    if stands_for is not None:
        planned = {
            "planned_id": stands_for.planned.id,
            "planned_for": stands_for.day,
            "attempt": _attempt(head.farm_id, stands_for),
        }
    row = Work.objects.create(
        farm_id=head.farm_id, facility_id=work.facility.id if work.facility else None, kind=work.kind,
        done_on=work.done_on, **work.facts, **planned, actor_kind=actor.kind, recorded_at=now, entry=next_number(head),
    )  # fmt: skip
    append(head, kind="work", actor=actor, row_hashes=[hash_again(row)], now=now)
    return row


def _attempt(farm_id: UUID, stands_for: PlannedFor) -> int:
    """How many works of a planned day were taken back. Raises PlannedDayDone where one stands."""
    of_day = Work.objects.filter(farm_id=farm_id, planned_id=stands_for.planned.id, planned_for=stands_for.day)
    standing = of_day.standing().first()
    if standing is not None:
        raise day_done(standing, stands_for.day)
    return of_day.count()


def _faults(work: WorkDone, farm: Farm, today: date) -> list[Detail]:
    faults = kind_faults(work.kind, WorkKind.values) + day_faults(work.done_on, today)
    if work.facility is not None and work.facility.farm_id != farm.id:
        faults.append(Detail("/facility", str(FACILITY_ELSEWHERE), "unknown_facility"))
    faults += facts_faults(work.kind, work.facts)
    return faults + _planned_faults(work, work.stands_for, farm) if work.stands_for else faults


def _planned_faults(work: WorkDone, stands_for: PlannedFor, farm: Farm) -> list[Detail]:
    planned = stands_for.planned
    place = work.facility.id if work.facility else None
    if (planned.farm_id, planned.kind, planned.facility_id) != (farm.id, work.kind, place):
        return [Detail("/planned_id", str(OTHER_THAN_PLANNED), "other_than_planned")]
    return planned_day_faults(planned, stands_for.day, work.done_on)


def _refuse(faults: list[Detail]) -> None:
    if faults:
        raise WorkRefused(errors=faults)
