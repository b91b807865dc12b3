"""The season's planned work: a clean-out again and again, a programme of wasp releases, and one that is overdue."""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date, timedelta

from django.db import transaction

from farms.tenancy.acting import act_for_user
from monitoring.models import PlannedWork
from monitoring.rules.planned_work import days_of
from monitoring.services import WorkPlanned, as_planned, leave_out, plan_work, record_work
from server.demo import scenario
from server.demo.clockwork import evening_of
from server.demo.farmyard import Yard


@dataclass(frozen=True)
class Planned:
    """A plan of one farm, in its first building: which of its days nobody noted, and which was left out, and why."""

    plan: WorkPlanned
    not_done: tuple[date, ...] = ()
    left_out: tuple[tuple[date, str], ...] = ()
    batch: str = ""


def _again(kind: str, first: date, every: int, unit: str, last: date, **more: object) -> WorkPlanned:
    return WorkPlanned(kind, first, every=every, unit=unit, last_day=last, **more)  # type: ignore[arg-type]


PLANS: dict[str, tuple[Planned, ...]] = {
    # Every two weeks; the last one is overdue when the demo begins.
    "Milk Lane": (
        Planned(
            _again("clean_out", date(2026, 5, 21), 2, "week", date(2026, 10, 22), words="behind the hutches, too"),
            not_done=(date(2026, 8, 13),),
        ),
    ),
    # Eight releases; one came too late and was left out.
    "Windrow Hill": (
        Planned(
            _again("wasps", date(2026, 6, 24), 1, "week", date(2026, 8, 26), number=20_000,
                   species="an invented mix of two species", words="along the north wall, out of the sun"),
            left_out=((date(2026, 7, 15), "the parcel came late and warm"),),
            batch="invented batch",
        ),
    ),
    "Larkrise": (Planned(_again("bedding", date(2026, 5, 31), 1, "month", date(2026, 9, 30))),
                     Planned(WorkPlanned("screens", date(2026, 8, 20), words="the torn one by the feed alley"))),
}  # fmt: skip


class PlannedSeason:
    """What is planned at the season's start and noted week by week."""

    def __init__(self, yards: Iterable[Yard]) -> None:
        self.made: list[tuple[Yard, Planned, PlannedWork]] = []
        for yard in yards:
            for planned in PLANS.get(yard.dairy.name, ()):
                self.made.append((yard, planned, _plan(yard, planned)))

    def note(self, monday: date) -> None:
        """What became of the planned days of the week that ends before a Monday."""
        for yard, planned, row in self.made:
            for number in range(7, 0, -1):
                _note(yard, planned, row, monday - timedelta(days=number))


def _plan(yard: Yard, planned: Planned) -> PlannedWork:
    building = next(iter(yard.buildings.values()))
    with transaction.atomic():
        act_for_user(yard.owner.id)
        now = evening_of(scenario.FIRST_HUNG)
        return plan_work(farm=yard.farm, plan=replace(planned.plan, facility=building), actor=yard.actor(), now=now)


def _note(yard: Yard, planned: Planned, row: PlannedWork, day: date) -> None:
    if day not in days_of(row) or day in planned.not_done:
        return
    why = dict(planned.left_out).get(day)
    with transaction.atomic():
        act_for_user(yard.owner.id)
        if why is not None:
            leave_out(planned=row, day=day, why=why, actor=yard.actor(), now=evening_of(day))
            return
        thorough = True if row.kind == "clean_out" else None
        done = replace(as_planned(row, day, day), batch=planned.batch, thorough=thorough)
        record_work(farm=yard.farm, work=done, actor=yard.actor(), now=evening_of(day))
