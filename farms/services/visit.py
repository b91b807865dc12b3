"""Planning visits and calls, taking them back, erasing where somebody was before; the group's rules for visits."""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from uuid import UUID

from django.db import transaction
from django.utils.translation import gettext_lazy as _

from farms.access import ADVISER, role_on
from farms.clock import local_date
from farms.errors import Forbidden, Invalid
from farms.lookups import array_of
from farms.models import Farm, Group, GroupVisitRules, LastFarmVisited, PlannedVisit, User
from farms.models.visit import VisitKind

FURTHEST = timedelta(days=366)
LONGEST_NAME, LONGEST_RULES = 120, 1500


class VisitDayWrong(Invalid):
    code = "visit_day_wrong"
    message = _("Choose a day from {today:%Y-%m-%d} on, at most a year ahead.")


class VisitKindUnknown(Invalid):
    code = "visit_kind_unknown"
    message = _("Choose visit or call.")


class LastFarmHalfTold(Invalid):
    code = "last_farm_half_told"
    message = _("Say both, which farm you visited last and when; leave both empty where you visited none this week.")


class LastVisitAhead(Invalid):
    code = "last_visit_ahead"
    message = _("The last visit was today or before. Choose its day.")


class VisitRulesWrong(Invalid):
    code = "visit_rules_wrong"
    message = _("Write the rules in at most {most} characters, each on a line of its own.")


@dataclass(frozen=True)
class Plan:
    """A visit or a call for a day, and where the adviser was before: both or neither of `last_farm` and `last_on`."""

    kind: str
    day: date
    last_farm: str = ""
    last_on: date | None = None


@transaction.atomic
def plan_visit(*, farm: Farm, plan: Plan, by: User, now: datetime) -> PlannedVisit:
    """Plan a visit or a call; for the farm's advisers. Raises Forbidden or Invalid kinds."""
    if role_on(by, farm.id) is not ADVISER:
        raise Forbidden()
    last_farm = plan.last_farm.strip()
    _check(plan, last_farm, local_date(now, farm.time_zone))
    visit = PlannedVisit.objects.create(farm=farm, adviser=by, kind=plan.kind, day=plan.day, planned_at=now)
    if plan.last_on is not None:
        LastFarmVisited.objects.create(
            farm=farm, visit_id=visit.id, adviser=by, name=last_farm, visited_on=plan.last_on
        )  # fmt: skip
    return visit


@transaction.atomic
def take_back_visit(*, visit: PlannedVisit, by: User, now: datetime) -> PlannedVisit:
    """Plan it no longer, and erase where the adviser was before; for who planned it. A second time changes nothing."""
    if visit.adviser_id != by.id:
        raise Forbidden()
    rows = PlannedVisit.objects.filter(farm_id=visit.farm_id, id=visit.id, taken_back_at__isnull=True)
    rows.update(taken_back_at=now)
    erase_last_farm(visit=visit, by=by)
    return visit


def erase_last_farm(*, visit: PlannedVisit, by: User) -> int:
    """Erase where the adviser was before; how many rows that were. Of others' it finds nothing."""
    rows = LastFarmVisited.objects.filter(farm_id=visit.farm_id, visit_id=visit.id, adviser_id=by.id)
    return rows.delete()[0]


def take_visits_back(*, adviser_id: UUID, farm_ids: Collection[UUID], now: datetime) -> None:
    """Plan nothing of an adviser's on these farms any longer, and erase where they were before.

    The transaction must act for that adviser while the farms still let them in: row security lets nobody else do it.
    """
    ids = array_of(farm_ids)
    visits = PlannedVisit.objects.filter(farm_id__any_of=ids, adviser_id=adviser_id, taken_back_at__isnull=True)
    visits.update(taken_back_at=now)
    LastFarmVisited.objects.filter(farm_id__any_of=ids, adviser_id=adviser_id).delete()


def set_visit_rules(*, group: Group, text: str, by: User, now: datetime) -> GroupVisitRules:
    """Write the group's rules for visits anew. The entry point lets coordinators in only."""
    text = "\n".join(line.strip() for line in text.strip().splitlines())
    if not text or len(text) > LONGEST_RULES:
        raise VisitRulesWrong(pointer="/text", most=LONGEST_RULES)
    return GroupVisitRules.objects.create(group=group, text=text, set_by=by, set_at=now)


def _check(plan: Plan, last_farm: str, today: date) -> None:
    if plan.kind not in VisitKind.values:
        raise VisitKindUnknown(pointer="/kind")
    if not today <= plan.day <= today + FURTHEST:
        raise VisitDayWrong(pointer="/day", today=today)
    if bool(last_farm) != (plan.last_on is not None) or len(last_farm) > LONGEST_NAME:
        raise LastFarmHalfTold(pointer="/last_on" if last_farm else "/last_farm")
    if plan.last_on is not None and plan.last_on > today:
        raise LastVisitAhead(pointer="/last_on")
