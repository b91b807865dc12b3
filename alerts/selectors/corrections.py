"""What late readings and corrections changed in older weeks since the last mail."""

from collections.abc import Collection, Mapping
from datetime import date, datetime, timedelta
from types import MappingProxyType
from uuid import UUID

from django.db.models import QuerySet

from alerts.models import Assessment, CheckRun, Digest
from alerts.models.outbox import MIDWEEK, occasion_of
from farms.lookups import array_of

Correction = tuple[Assessment, Assessment]  # (what the mail of that time said, what stands now)
Row = tuple[UUID, date, str]  # the whole farm's result of a week and method
WEEKS_BACK = timedelta(weeks=8)
NO_MAILS: Mapping[UUID, datetime] = MappingProxyType({})


def corrections_since(
    group_id: UUID, farm_ids: Collection[UUID], week: date, mails: Mapping[UUID, datetime] = NO_MAILS
) -> dict[UUID, list[Correction]]:
    """The whole farms' results of the eight weeks before `week` that say another mean than at the farm's last mail.

    `mails`: when that was; of a farm that isn't in it, what changed since the group's last run began. By farm, oldest
    week first; three queries, however many farms.
    """
    last = CheckRun.objects.filter(group_id=group_id, week__lt=week, finished_at__isnull=False).order_by("week").last()
    if last is None or last.started_at is None:
        return {}
    moments = {farm_id: mails.get(farm_id, last.started_at) for farm_id in farm_ids}
    rows = Assessment.objects.filter(facility_id__isnull=True, week__range=(week - WEEKS_BACK, last.week))
    changed = _changed(rows, moments)
    before = _before(rows, {place[0] for place in changed}, moments)
    found: dict[UUID, list[Correction]] = {}
    for place, now in changed.items():
        if place in before and before[place].mean != now.mean:
            found.setdefault(now.farm_id, []).append((before[place], now))
    return found


def last_mails(farm_ids: Collection[UUID], week: date) -> dict[UUID, datetime]:
    """When the first mail about the newest week before this one, of which a farm had any, was written; one query."""
    weekly = Digest.objects.filter(farm_id__any_of=array_of(farm_ids)).exclude(occasion__endswith=MIDWEEK)
    newest = weekly.filter(occasion__lt=occasion_of(week)).order_by("farm_id", "-occasion", "queued_at")
    return dict(newest.distinct("farm_id").values_list("farm_id", "queued_at"))


def _changed(rows: QuerySet[Assessment], moments: Mapping[UUID, datetime]) -> dict[Row, Assessment]:
    """The newest revision of what was judged again after its farm's moment, by farm and week."""
    earliest = min(moments.values(), default=None)
    if earliest is None:
        return {}
    again = rows.filter(farm_id__any_of=array_of(moments), judged_at__gt=earliest, revision__gt=1)
    newest = again.order_by("farm_id", "week", "method", "-revision").distinct("farm_id", "week", "method")
    return {_row(now): now for now in newest if now.judged_at > moments[now.farm_id]}


def _before(
    rows: QuerySet[Assessment], farm_ids: Collection[UUID], moments: Mapping[UUID, datetime]
) -> dict[Row, Assessment]:
    """The newest revision that there was at each farm's moment."""
    known = rows.filter(farm_id__any_of=array_of(farm_ids)).order_by("revision")
    return {_row(then): then for then in known if then.judged_at <= moments[then.farm_id]}


def _row(row: Assessment) -> Row:
    return row.farm_id, row.week, row.method
