"""What became of the counts after the last work of each farm, beside its week."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import timedelta

from alerts.selectors.farm_weeks import FarmWeek
from monitoring.selectors.work_effects import effects_of_works

# After so long the counts have other reasons than the work.
TOLD_FOR = timedelta(weeks=12)


def with_work_effects(weeks: Sequence[FarmWeek], *, reports: str = "region") -> list[FarmWeek]:
    """The weeks, all seen from one day, with the effect of each farm's last work where that is not long ago.

    `reports`: the connection by which region reports are read; the worker's own may.
    """
    recent = [week for week in weeks if week.work is not None and week.day - week.work.done_on <= TOLD_FOR]
    works = [week.work for week in recent if week.work is not None]
    if not works:
        return list(weeks)
    effects = effects_of_works(works, [week.farm for week in recent], recent[0].day, reports=reports)
    return [replace(week, work_effect=effects.get(week.work.id)) if week.work else week for week in weeks]
