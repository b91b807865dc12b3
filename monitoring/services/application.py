"""A pesticide application noted with its full record, mended by a later row, or checked by the farm.

Where the label names hours, people are kept out of the place by the same rows as when somebody types them alone.
"""

import secrets
from dataclasses import asdict, dataclass
from datetime import datetime, timedelta
from typing import Any

from django.db import transaction
from django.utils.translation import gettext_lazy as _

from farms.chained_rows import hash_again
from farms.clock import local_date
from farms.constraints import explained
from farms.errors import Detail
from farms.ledger import Actor, append, lock_heads, next_number
from farms.models import Facility, Farm
from monitoring.errors import (
    AlreadyChecked,
    ApplicationRefused,
    ApplicationReplaced,
    NothingToCheck,
    PlannedDayApplied,
)
from monitoring.models import Application, ApplicationCheck, ApplicationPeople, CertifierAnswer, Reentry
from monitoring.rules.application import (
    WHY_MISSING,
    WHY_NOT_MISSING,
    Measured,
    People,
    measured_faults,
    people_faults,
    target_faults,
    when_faults,
)
from monitoring.rules.label import Label, label_faults, line_faults
from monitoring.rules.planned_work import planned_day_faults
from monitoring.selectors.organic import certifier_answer_about, is_organic
from monitoring.selectors.reentry import newest_of
from monitoring.services.reentry import FACILITY_ELSEWHERE, Mending, ReentryTyped, record_reentry
from monitoring.services.work import OTHER_THAN_PLANNED, PlannedFor

ASK_THE_CERTIFIER = _(
    "This farm is kept organic. Ask the certifier first, and note here what was asked, the answer and its date; then "
    "note the application."
)
HOURS_ONLY = _("{hours} hours, as typed from the label")


@dataclass(frozen=True)
class Applied:
    """What was applied, where, when and by whom. `facility` is None for the whole farm."""

    label: Label
    measured: Measured
    people: People
    target: str
    begins_at: datetime
    ends_at: datetime
    facility: Facility | None = None
    place: str = ""
    product_id: Any = None
    from_paper: bool = False
    stands_for: PlannedFor | None = None


@dataclass(frozen=True)
class MendedApplication:
    """Which record was typed wrongly, and why it is changed."""

    replaces: Application
    reason: str


@dataclass(frozen=True)
class Writer:
    """Who writes the record down: a person, a key, or a hired sprayer through a one-time link."""

    actor: Actor
    through_link: bool = False


@transaction.atomic
def record_application(
    *, farm: Farm, applied: Applied, by: Writer, now: datetime, mending: MendedApplication | None = None
) -> Application:
    """Note an application in the farm's log. With `mending` it replaces an earlier record, and both stay.

    Raises ApplicationRefused, or ApplicationReplaced where the earlier one was replaced already.
    """
    lock_heads([farm.id])
    faults = _faults(farm, applied, now)
    if mending is not None:
        faults += line_faults("reason", mending.reason, 200, WHY_MISSING)
    if faults:
        raise ApplicationRefused(errors=faults)
    held_to = _held_to(farm, applied)
    kept_out = _keep_people_out(farm, applied, by.actor, now, mending)
    # Keeping people out may have added an entry of its own.
    head = lock_heads([farm.id])[farm.id]
    columns = _columns(applied) | {
        "certifier_answer_id": held_to.id if held_to else None,
        "reentry_id": kept_out.id if kept_out else None,
        "typed_by": by.actor.id,
        "actor_kind": by.actor.kind,
        "through_link": by.through_link,
        "replaces_id": mending.replaces.id if mending else None,
        **_planned(applied, mending),
        "reason": mending.reason.strip() if mending else "",
    }
    broken = {
        "application_is_replaced_once": ApplicationReplaced(),
        "planned_day_is_applied_once": PlannedDayApplied(),
    }
    with explained(broken):
        row = Application.objects.create(farm_id=farm.id, **columns, recorded_at=now, entry=next_number(head))
    people = ApplicationPeople(
        farm_id=farm.id, application_id=row.id, **asdict(applied.people), salt=secrets.token_bytes(16), entry=row.entry
    )
    ApplicationPeople.objects.bulk_create([people])
    append(head, kind="application", actor=by.actor, row_hashes=[hash_again(row), hash_again(people)], now=now)
    return row


@transaction.atomic
def check_application(
    *, application: Application, confirmed: bool, reason: str, actor: Actor, now: datetime
) -> ApplicationCheck:
    """Say to a record that a hired sprayer filled in: so it was, or not so and why.

    Raises NothingToCheck, ApplicationRefused or AlreadyChecked.
    """
    head = lock_heads([application.farm_id])[application.farm_id]
    if not application.through_link:
        raise NothingToCheck()
    faults = [] if confirmed else line_faults("reason", reason, 200, WHY_NOT_MISSING)
    if faults:
        raise ApplicationRefused(errors=faults)
    with explained({"application_is_checked_once": AlreadyChecked()}):
        row = ApplicationCheck.objects.create(
            farm_id=application.farm_id, application_id=application.id, confirmed=confirmed,
            reason="" if confirmed else reason.strip(), checked_by=actor.id, actor_kind=actor.kind, checked_at=now,
            entry=next_number(head),
        )  # fmt: skip
    append(head, kind="application_check", actor=actor, row_hashes=[hash_again(row)], now=now)
    return row


def _faults(farm: Farm, applied: Applied, now: datetime) -> list[Detail]:
    faults = (
        label_faults(applied.label)
        + measured_faults(applied.measured)
        + people_faults(applied.people)
        + target_faults(applied.target)
        + line_faults("place", applied.place, 200)
        + when_faults(applied.begins_at, applied.ends_at, now)
    )
    if applied.facility is not None and applied.facility.farm_id != farm.id:
        faults.append(Detail("/facility_id", str(FACILITY_ELSEWHERE), "unknown_facility"))
    if not faults and applied.stands_for is not None:
        faults += _planned_faults(farm, applied, applied.stands_for)
    return faults


def _held_to(farm: Farm, applied: Applied) -> CertifierAnswer | None:
    """The certifier's answer by which it stands on a farm kept organic that day; None elsewhere.

    Raises ApplicationRefused where the certifier wasn't asked.
    """
    day = local_date(applied.begins_at, farm.time_zone)
    if not is_organic(farm, day):
        return None
    answer = certifier_answer_about(farm, applied.label.registration_number, day)
    if answer is None:
        fault = Detail("/registration_number", str(ASK_THE_CERTIFIER), "certifier_not_asked")
        raise ApplicationRefused(errors=[fault])
    return answer


def _planned_faults(farm: Farm, applied: Applied, stands_for: PlannedFor) -> list[Detail]:
    planned = stands_for.planned
    if planned.farm_id != farm.id or not planned.is_application:
        return [Detail("/planned_id", str(OTHER_THAN_PLANNED), "other_than_planned")]
    return planned_day_faults(planned, stands_for.day, local_date(applied.begins_at, farm.time_zone))


def _planned(applied: Applied, mending: MendedApplication | None) -> dict[str, Any]:
    """Which day of which plan it stands for; a record that mends another stands for the same."""
    if mending is not None:
        return {"planned_id": mending.replaces.planned_id, "planned_for": mending.replaces.planned_for}
    stands_for = applied.stands_for
    if stands_for is None:
        return {}
    return {"planned_id": stands_for.planned.id, "planned_for": stands_for.day}


def _columns(applied: Applied) -> dict[str, Any]:
    label, measured = applied.label, applied.measured
    return {
        **asdict(label),
        "irac_groups": list(label.irac_groups),
        **asdict(measured),
        "facility_id": applied.facility.id if applied.facility else None,
        "place": applied.place.strip(),
        "product_id": applied.product_id,
        "target": applied.target,
        "begins_at": applied.begins_at,
        "ends_at": applied.ends_at,
        "milk_until": _after(applied.ends_at, hours=label.milk_hours),
        "meat_until": _after(applied.ends_at, hours=24 * label.meat_days if label.meat_days else None),
        "from_paper": applied.from_paper,
    }


def _after(moment: datetime, *, hours: int | None) -> datetime | None:
    return None if hours is None else moment + timedelta(hours=hours)


def _keep_people_out(
    farm: Farm, applied: Applied, actor: Actor, now: datetime, mending: MendedApplication | None
) -> Reentry | None:
    """The label's time, from the beginning of the application until its hours after the end; None where it is over.

    A mended record mends the time that its first one brought. Where it names none any more that time stays: it was
    told, and whoever wants it shortened does so by its own reason.
    """
    before = newest_of(mending.replaces.reentry) if mending and mending.replaces.reentry_id else None
    until = _after(applied.ends_at, hours=applied.label.reentry_hours)
    if until is None or until <= now:
        return before
    says = applied.label.reentry_words.strip() or str(HOURS_ONLY).format(hours=applied.label.reentry_hours)
    typed = ReentryTyped(applied.begins_at, until, says, applied.facility)
    change = Mending(before, mending.reason) if mending and before else None
    return record_reentry(farm=farm, typed=typed, actor=actor, now=now, mending=change)
