"""Work done against flies. Pesticide applications are not among it: they need their full record."""

from dataclasses import dataclass
from datetime import date, datetime

from django.db import transaction
from django.utils.translation import gettext_lazy as _

from farms.clock import local_date
from farms.errors import Detail
from farms.ledger import Actor, append, lock_heads, next_number, row_hash, row_values
from farms.models import Facility, Farm
from monitoring.errors import WorkRefused
from monitoring.models import Work
from monitoring.models.work import WorkKind
from monitoring.rules.cells import WrongCell, day

KIND_UNKNOWN = _("There is no such kind of work. Use one of: {kinds}.")
FUTURE = _("Only work that is done is noted, and this day is still to come on this farm. Correct the day.")
FACILITY_ELSEWHERE = _("This barn or lot isn't one of this farm's. Choose one of the farm's own, or leave it empty.")
THOROUGH_ONLY = _("Only a clean-out is thorough or not. Leave this empty for other work.")


@dataclass(frozen=True)
class WorkDone:
    """Something done on a day, in one facility or (None) on the whole farm. `kind` is one of models.work.WorkKind."""

    kind: str
    done_on: date
    facility: Facility | None = None
    thorough: bool | None = None


@transaction.atomic
def record_work(*, farm: Farm, work: WorkDone, actor: Actor, now: datetime) -> Work:
    """Note work in the farm's log. Raises WorkRefused."""
    head = lock_heads([farm.id])[farm.id]
    errors = _faults(work, farm, local_date(now, farm.time_zone))
    if errors:
        raise WorkRefused(errors=errors)
    row = Work.objects.create(
        farm_id=farm.id,
        facility_id=work.facility.id if work.facility else None,
        kind=work.kind,
        done_on=work.done_on,
        thorough=work.thorough,
        actor_kind=actor.kind,
        recorded_at=now,
        entry=next_number(head),
    )
    append(head, kind="work", actor=actor, row_hashes=[row_hash(Work._meta.db_table, row_values(row))], now=now)
    return row


def _faults(work: WorkDone, farm: Farm, today: date) -> list[Detail]:
    errors = []
    if work.kind not in WorkKind.values:
        kinds = ", ".join(WorkKind.values)
        errors.append(Detail("/kind", str(KIND_UNKNOWN).format(kinds=kinds), "kind_unknown"))
    try:
        if day(work.done_on) > today:
            errors.append(Detail("/done_on", str(FUTURE), "future_date"))
    except WrongCell as error:
        errors.append(Detail("/done_on", str(error.reason), error.code))
    if work.facility is not None and work.facility.farm_id != farm.id:
        errors.append(Detail("/facility", str(FACILITY_ELSEWHERE), "unknown_facility"))
    if work.thorough is not None and work.kind != WorkKind.CLEAN_OUT:
        errors.append(Detail("/thorough", str(THOROUGH_ONLY), "thorough_only_of_a_clean_out"))
    return errors
