"""Planned visits and calls of advisers, and the group's rules for visits: what is read of them.

Ids given by somebody come through `farms.access` first.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any
from uuid import UUID

from django.db.models import QuerySet
from django.utils.translation import gettext_lazy as _

from farms.closures import Closure, holding, times_of_farms
from farms.lookups import array_of
from farms.models import Farm, Group, GroupVisitRules, LastFarmVisited, PlannedVisit, User
from farms.models.visit import VisitKind

# Common practice, no source: our own words.
USUAL_RULES = (
    _(
        "Nothing but people goes from farm to farm: cards, tags, traps, poles, clipboards and pens stay on the farm "
        "where they are used."
    ),
    _("Come in clean boots and clean clothes, or in what the farm keeps for visitors."),
    _("Do what the farm itself asks at its gate, and call before you come."),
)


@dataclass(frozen=True)
class VisitTold:
    """A planned visit as it is told: as a call while the farm is closed to visits on its day (`closure`).

    `last` is where the adviser was before; None for everybody else.
    """

    visit: PlannedVisit
    closure: Closure | None
    last: LastFarmVisited | None

    @property
    def told_as(self) -> VisitKind:
        return VisitKind.CALL if self.closure else VisitKind(self.visit.kind)

    @property
    def is_turned(self) -> bool:
        """Whether a visit is told as a call."""
        return self.told_as != self.visit.kind


@dataclass(frozen=True)
class VisitRules:
    """The rules for visits that hold in a group: its coordinator's, or ours where none were written."""

    lines: tuple[Any, ...]
    set_at: datetime | None


def visits_of(farm: Farm) -> QuerySet[PlannedVisit]:
    """The farm's planned visits and calls that were not taken back, by day."""
    visits = PlannedVisit.objects.filter(farm_id=farm.id, taken_back_at__isnull=True)
    return visits.select_related("farm", "adviser").order_by("day", "planned_at", "id")


def visits_ahead(farm: Farm, day: date, who: User) -> list[VisitTold]:
    """What is planned for a farm from a day on, as `who` is told of it."""
    return visits_told(visits_of(farm).filter(day__gte=day), who)


def visits_of_adviser(user: User, farms: Iterable[Farm], first: date, last: date) -> list[VisitTold]:
    """What an adviser has planned on these farms from one day to another, by day. Four queries, however many farms."""
    visits = PlannedVisit.objects.filter(
        farm_id__any_of=array_of(farm.id for farm in farms),
        adviser_id=user.id, taken_back_at__isnull=True, day__gte=first, day__lte=last,
    )  # fmt: skip
    return visits_told(visits.select_related("farm", "adviser").order_by("day", "farm__name", "id"), user)


def planned_of_adviser(user_id: UUID, farm_ids: Iterable[UUID], day: date) -> QuerySet[PlannedVisit]:
    """What an adviser has planned on these farms from a day on."""
    visits = PlannedVisit.objects.filter(farm_id__any_of=array_of(farm_ids), taken_back_at__isnull=True)
    return visits.filter(adviser_id=user_id, day__gte=day).order_by("day", "farm_id", "id")


def visits_told(visits: Iterable[PlannedVisit], who: User) -> list[VisitTold]:
    """Planned visits as somebody is told of them."""
    visits = list(visits)
    farms = list({visit.farm_id: visit.farm for visit in visits}.values())
    times, told = times_of_farms(farms), _last_farms(visits, who)
    return [VisitTold(visit, holding(times[visit.farm_id], visit.day), told.get(visit.id)) for visit in visits]


def _last_farms(visits: Iterable[PlannedVisit], who: User) -> dict[UUID, LastFarmVisited]:
    """What `who` told when planning, by the visit; of other advisers nothing."""
    own = [visit for visit in visits if visit.adviser_id == who.id]
    rows = LastFarmVisited.objects.filter(
        farm_id__any_of=array_of({visit.farm_id for visit in own}), adviser_id=who.id,
        visit_id__any_of=array_of(visit.id for visit in own),
    )  # fmt: skip
    return {row.visit_id: row for row in rows}


def written_rules_of(group: Group) -> QuerySet[GroupVisitRules]:
    """Every text that the group's coordinators wrote, newest first."""
    rules = GroupVisitRules.objects.filter(group_id=group.id)
    return rules.select_related("set_by").order_by("-set_at", "-id")


def visit_rules_of(group: Group) -> VisitRules:
    """What holds in a group now, line by line."""
    newest = written_rules_of(group).first()
    if newest is None:
        return VisitRules(USUAL_RULES, None)
    return VisitRules(tuple(line.strip() for line in newest.text.splitlines() if line.strip()), newest.set_at)
