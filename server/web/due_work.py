"""What is due on a farm, what comes in the next seven days, and what is usually done there: one tap each."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any
from uuid import UUID

from django.http import HttpRequest

from alerts.selectors.planned_work import AHEAD
from farms.access import one_of
from farms.ledger import actors_of_entries
from farms.selectors import names_in_log
from monitoring.errors import AlreadyNoted, PlannedDayDone
from monitoring.selectors import (
    PlannedDay,
    ahead_of_plans,
    due_of,
    planned_works_of,
    plans_under_way,
    usual_works,
    words_about,
    works_on_record,
)
from monitoring.services import PlannedFor
from server.web.doors import Visit

# How much of what is usually done is offered.
MOST_USUAL = 3


@dataclass(frozen=True)
class DueLine:
    """A planned day as a page shows it, with what is to be done in somebody's words ("" for none)."""

    planned_day: PlannedDay
    words: str = ""

    @property
    def planned(self) -> Any:
        return self.planned_day.planned

    @property
    def day(self) -> date:
        return self.planned_day.day

    @property
    def is_overdue(self) -> bool:
        return self.planned_day.state == "overdue"

    @property
    def by_one_tap(self) -> bool:
        """An application is recorded with all that its record needs."""
        return not self.planned.is_application


@dataclass(frozen=True)
class DueWork:
    """What a page tells of planned work today."""

    due: Sequence[DueLine]
    ahead: Sequence[DueLine]


def due_told(visit: Visit) -> DueWork:
    """What is due and what comes; four queries, one where nothing is planned."""
    plans = plans_under_way([visit.farm.id], visit.today)[visit.farm.id]
    due, ahead = due_of(plans, visit.today), ahead_of_plans(plans, visit.today, visit.today + AHEAD)
    words = _words(visit, (*due, *ahead))
    return DueWork(*([DueLine(each, words.get(each.planned.id, "")) for each in some] for some in (due, ahead)))


def planned_asked(request: HttpRequest, visit: Visit) -> tuple[Any, date] | None:
    """The plan and its day that a page is asked for, where it is asked for one. Raises Missing."""
    try:
        planned_id, day = UUID(request.GET["planned"]), date.fromisoformat(request.GET["day"])
    except (KeyError, ValueError):
        return None
    return one_of(planned_works_of(visit.farm), planned_id), day


def stands_for(visit: Visit, wanted: Mapping[str, Any]) -> PlannedFor | None:
    """The day of which plan a valid form says that it stands for. Raises Missing."""
    planned_id, day = wanted["planned"], wanted["planned_for"]
    return PlannedFor(one_of(planned_works_of(visit.farm), planned_id), day) if planned_id and day else None


def usual_of(visit: Visit, works: Sequence[Any]) -> list[Any]:
    """What is usually done here and wasn't noted today; `works`: what was noted, newest first."""
    today = {(work.kind, work.facility_id) for work in works if work.done_on == visit.today}
    usual = usual_works(works, MOST_USUAL + len(today))
    return [work for work in usual if (work.kind, work.facility_id) not in today][:MOST_USUAL]


def who_noted(visit: Visit, error: AlreadyNoted | PlannedDayDone) -> tuple[bool, str]:
    """Whether it was who asks that noted it, and by which name the farm's log knows who did ("" for none)."""
    work = works_on_record(visit.farm).get(id=error.details["work"])
    actor_id = actors_of_entries([(work.farm_id, work.entry)]).get((work.farm_id, work.entry))
    names = names_in_log(visit.farm, {actor_id}) if actor_id else {}
    return actor_id == visit.actor.id, names.get(actor_id, "") if actor_id else ""


def _words(visit: Visit, days: Iterable[PlannedDay]) -> dict[Any, str]:
    about = {each.planned.id for each in days}
    return words_about(visit.farm, about) if about else {}
