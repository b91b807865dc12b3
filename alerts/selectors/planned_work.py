"""What of each farm's planned work is due and what comes: beside its week, and for a calendar."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING

from alerts.selectors.farm_weeks import FarmWeek
from farms.clock import local_date
from monitoring.selectors import Plan, PlannedDay, ahead_of_plans, due_of, plans_under_way

if TYPE_CHECKING:
    from farms.models import Farm

AHEAD = timedelta(days=7)
IN_CALENDARS = timedelta(weeks=8)


def with_planned_work(weeks: Sequence[FarmWeek]) -> list[FarmWeek]:
    """The weeks, all seen from one day, with what is planned; three queries, one where nothing is."""
    if not weeks:
        return []
    today = weeks[0].day
    plans = plans_under_way([week.farm.id for week in weeks], today)
    return [
        replace(
            week,
            planned_due=tuple(due_of(plans.get(week.farm.id, ()), today)),
            planned_ahead=tuple(ahead_of_plans(plans.get(week.farm.id, ()), today, today + AHEAD)),
        )
        for week in weeks
    ]


def planned_days(farms: Sequence["Farm"], now: datetime) -> list[tuple["Farm", PlannedDay]]:
    """What is due of each farm's planned work, and what comes in eight weeks, each farm seen from its own day."""
    days = {farm.id: local_date(now, farm.time_zone) for farm in farms}
    plans = plans_under_way(days, min(days.values())) if days else {}
    return [(farm, each) for farm in farms for each in _of_calendar(plans.get(farm.id, []), days[farm.id])]


def _of_calendar(plans: Sequence[Plan], today: date) -> list[PlannedDay]:
    return [*due_of(plans, today), *ahead_of_plans(plans, today, today + IN_CALENDARS)]
