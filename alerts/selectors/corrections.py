"""What late readings and corrections changed in older weeks since the last mail."""

from collections.abc import Collection
from datetime import date, timedelta
from uuid import UUID

from alerts.models import Assessment, CheckRun

Correction = tuple[Assessment, Assessment]  # (what the mail of that time said, what stands now)
WEEKS_BACK = timedelta(weeks=8)


def corrections_since(group_id: UUID, farm_ids: Collection[UUID], week: date) -> dict[UUID, list[Correction]]:
    """The whole farms' results of the eight weeks before `week` that say another mean than when its last run began.

    By farm, oldest week first.
    """
    last = CheckRun.objects.filter(group_id=group_id, week__lt=week, finished_at__isnull=False).order_by("week").last()
    if last is None or last.started_at is None:
        return {}
    rows = Assessment.objects.filter(
        farm_id__in=farm_ids, facility_id__isnull=True, week__range=(week - WEEKS_BACK, last.week)
    )
    changed = rows.filter(judged_at__gt=last.started_at, revision__gt=1)
    found: dict[UUID, list[Correction]] = {}
    for now in changed.order_by("farm_id", "week", "method", "-revision").distinct("farm_id", "week", "method"):
        same = rows.filter(farm_id=now.farm_id, week=now.week, method=now.method, judged_at__lte=last.started_at)
        before = same.order_by("revision").last()
        if before is not None and before.mean != now.mean:
            found.setdefault(now.farm_id, []).append((before, now))
    return found
