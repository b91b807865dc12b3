"""Planned work: each plan with what became of its days, what is due on a day, and what lies ahead."""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from uuid import UUID

from django.db.models import F, OuterRef, QuerySet, Subquery
from django.db.models.functions import Coalesce

from farms.lookups import array_of
from farms.models import Farm
from monitoring.models import Application, PlannedStep, PlannedWork, Work, WorkWords
from monitoring.models.planned_work import StepKind
from monitoring.rules.planned_work import LAPSES, ahead_of, days_of, due_on
from monitoring.selectors.application import standing_rows

DONE, LEFT_OUT, ENDED = "done", "left_out", "ended"
DUE, OVERDUE, NOT_NOTED, AHEAD = "due", "overdue", "not_noted", "ahead"
STATES = (AHEAD, DUE, OVERDUE, DONE, LEFT_OUT, NOT_NOTED, ENDED)


@dataclass(frozen=True)
class PlannedDay:
    """One day of a plan, and what became of it: one of `STATES`; `work` or `application` is what was noted for it."""

    plan: "Plan"
    day: date
    state: str
    work: Work | None = None
    application: Application | None = None

    @property
    def planned(self) -> PlannedWork:
        return self.plan.row

    @property
    def is_due(self) -> bool:
        return self.state in (DUE, OVERDUE)


@dataclass(frozen=True)
class Plan:
    """A plan with its steps and the standing works that name it, by the day that each stands for."""

    row: PlannedWork
    done: Mapping[date, Work]
    applied: Mapping[date, Application] = field(default_factory=dict)
    left_out: Collection[date] = frozenset()
    ended_from: date | None = None

    @property
    def days(self) -> list[date]:
        """All its days, those too from which on it was ended."""
        return list(days_of(self.row))

    @property
    def standing_days(self) -> list[date]:
        return [day for day in self.days if self.ended_from is None or day < self.ended_from]

    @property
    def settled(self) -> set[date]:
        return {*self.done, *self.applied, *self.left_out}

    def due(self, today: date) -> PlannedDay | None:
        """What of it is due today: its newest day that has come, where nothing became of it."""
        day = due_on(self.standing_days, self.settled, today)
        return None if day is None else PlannedDay(self, day, DUE if day == today else OVERDUE)

    def ahead(self, today: date, until: date) -> list[PlannedDay]:
        """What of it comes after today, up to a day."""
        return [PlannedDay(self, day, AHEAD) for day in ahead_of(self.standing_days, self.settled, today, until)]

    def told(self, today: date) -> list[PlannedDay]:
        """Every day with what became of it."""
        due = self.due(today)
        return [
            PlannedDay(self, day, self._state(day, due, today), self.done.get(day), self.applied.get(day))
            for day in self.days
        ]

    def is_over(self, today: date) -> bool:
        """Whether nothing of it is due or to come."""
        return self.due(today) is None and not any(day > today for day in self.standing_days)

    def _state(self, day: date, due: PlannedDay | None, today: date) -> str:
        if day in self.done or day in self.applied:
            return DONE
        if day in self.left_out:
            return LEFT_OUT
        if self.ended_from is not None and day >= self.ended_from:
            return ENDED
        if due is not None and day == due.day:
            return due.state
        return AHEAD if day > today else NOT_NOTED


def planned_works_of(farm: Farm) -> QuerySet[PlannedWork]:
    """All that was ever planned on a farm, the newest plan first; `words` say what to do, None where erased or none."""
    words = WorkWords.objects.filter(farm_id=OuterRef("farm_id"), about_id=OuterRef("id")).values("text")
    rows = PlannedWork.objects.filter(farm_id=farm.id).select_related("facility")
    return rows.annotate(words=Subquery(words)).order_by("-recorded_at", "-id")


def plans_of_rows(rows: Iterable[PlannedWork], *, using: str = "default") -> list[Plan]:
    """Plans with what became of them, in the order of their rows; three queries at most, however many."""
    rows = list(rows)
    if not rows:
        return []
    farms, ids = array_of({row.farm_id for row in rows}), array_of({row.id for row in rows})
    steps: dict[UUID, list[PlannedStep]] = defaultdict(list)
    done: dict[UUID | None, dict[date, Work]] = defaultdict(dict)
    for step in PlannedStep.objects.using(using).filter(farm_id__any_of=farms, planned_id__any_of=ids):
        steps[step.planned_id].append(step)
    works = Work.objects.using(using).standing().filter(farm_id__any_of=farms, planned_id__any_of=ids)
    for work in works:
        if work.planned_for is not None:
            done[work.planned_id][work.planned_for] = work
    applied = _applied(rows, using)
    return [_plan(row, steps[row.id], done[row.id], applied[row.id]) for row in rows]


def _applied(rows: Sequence[PlannedWork], using: str) -> dict[UUID | None, dict[date, Application]]:
    """The applications that stand for a day of these plans; asked only where one is a plan of such."""
    found: dict[UUID | None, dict[date, Application]] = defaultdict(dict)
    plans = [row for row in rows if row.is_application]
    if plans:
        known = standing_rows(using).filter(
            farm_id__any_of=array_of({row.farm_id for row in plans}),
            planned_id__any_of=array_of(row.id for row in plans),
        )
        for row in known:
            if row.planned_for is not None:
                found[row.planned_id][row.planned_for] = row
    return found


def plans_under_way(farm_ids: Iterable[UUID], today: date, *, using: str = "default") -> dict[UUID, list[Plan]]:
    """By farm the plans of which something may be due or to come; four queries at most, however many farms."""
    recent = PlannedWork.objects.using(using).annotate(ends=Coalesce(F("last_day"), F("first_day")))
    rows = recent.filter(farm_id__any_of=array_of(farm_ids), ends__gte=today - LAPSES).select_related("facility")
    found: dict[UUID, list[Plan]] = defaultdict(list)
    for plan in plans_of_rows(rows.order_by("recorded_at", "id"), using=using):
        found[plan.row.farm_id].append(plan)
    return found


def due_of(plans: Iterable[Plan], today: date) -> list[PlannedDay]:
    """What is due of some plans, the longest overdue first."""
    due = [each for each in (plan.due(today) for plan in plans) if each is not None]
    return sorted(due, key=lambda each: (each.day, each.planned.id))


def ahead_of_plans(plans: Iterable[Plan], today: date, until: date) -> list[PlannedDay]:
    """What comes of some plans after today, up to a day, in order."""
    ahead = [each for plan in plans for each in plan.ahead(today, until)]
    return sorted(ahead, key=lambda each: (each.day, each.planned.id))


def words_about(farm: Farm, ids: Iterable[UUID]) -> dict[UUID, str]:
    """What was said about some rows, as why a day was left out or a work taken back; what was erased isn't in it."""
    rows = WorkWords.objects.filter(farm_id=farm.id, about_id__any_of=array_of(ids))
    return dict(rows.values_list("about_id", "text"))


def planned_steps_of(farm: Farm) -> QuerySet[PlannedStep]:
    """All steps of all plans of a farm, in order."""
    return PlannedStep.objects.filter(farm_id=farm.id).order_by("recorded_at", "id")


def _plan(
    row: PlannedWork, steps: Iterable[PlannedStep], done: Mapping[date, Work], applied: Mapping[date, Application]
) -> Plan:
    ended = [step.day for step in steps if step.kind == StepKind.ENDED]
    left_out = frozenset(step.day for step in steps if step.kind == StepKind.LEFT_OUT)
    return Plan(row, done, applied, left_out, ended[0] if ended else None)
