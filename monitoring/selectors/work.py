"""Work done against flies."""

from collections import Counter
from collections.abc import Iterable
from datetime import date
from typing import Any
from uuid import UUID

from django.db.models import QuerySet

from farms.models import Farm
from monitoring.models import Work, WorkTakenBack
from monitoring.models.work import WorkKind


def works_of(farm: Farm, since: date | None = None) -> QuerySet[Work]:
    """What was done on the farm, newest first; from a day on, where asked. Without what was taken back."""
    works = Work.objects.standing().filter(farm_id=farm.id).select_related("facility").order_by("-done_on", "-id")
    return works if since is None else works.filter(done_on__gte=since)


def works_on_record(farm: Farm) -> QuerySet[Work]:
    """All that was ever noted, newest first; `taken_back` marks what counts nowhere."""
    works = Work.objects.with_taken_back().filter(farm_id=farm.id)
    return works.select_related("facility").order_by("-done_on", "-id")


def taken_back_of(farm_id: UUID) -> QuerySet[WorkTakenBack, Any]:
    """The ids of the works of a farm that were taken back."""
    return WorkTakenBack.objects.filter(farm_id=farm_id).values("work_id")


def taken_back_rows(farm: Farm, since: date) -> QuerySet[WorkTakenBack]:
    """What was taken back of work done since a day, newest first, each with its work."""
    rows = WorkTakenBack.objects.filter(farm_id=farm.id, work__done_on__gte=since)
    return rows.select_related("work", "work__facility").order_by("-work__done_on", "-id")


def usual_works(works: Iterable[Work], most: int) -> list[Work]:
    """Of each kind and place that was noted twice or more the newest work, the most usual first.

    `works`: newest first. What says nothing by itself ("other"), and what was planned, is left out.
    """
    newest: dict[tuple[str, UUID | None], Work] = {}
    times: Counter[tuple[str, UUID | None]] = Counter()
    for work in works:
        if work.kind != WorkKind.OTHER and work.planned_id is None:
            times[work.kind, work.facility_id] += 1
            newest.setdefault((work.kind, work.facility_id), work)
    return [newest[what] for what, number in times.most_common() if number > 1][:most]
