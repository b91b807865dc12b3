"""What was done last against flies on each farm, work or application: what mails and lists name."""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING
from uuid import UUID

from django.db.models import DateField, DateTimeField, F, Func, QuerySet
from django.db.models.functions import Cast

from farms.clock import local_date
from farms.lookups import array_of
from farms.models import Facility
from monitoring.models import Application, Work
from monitoring.selectors.application import standing_rows

if TYPE_CHECKING:
    from django.utils.functional import Promise

DAY = timedelta(days=1)


@dataclass(frozen=True)
class Done:
    """A work or an application as far as a line names it: what, on which day, where (None for the whole farm)."""

    farm_id: UUID
    id: UUID
    label: "str | Promise"
    done_on: date
    facility_id: UUID | None = None
    facility: Facility | None = None

    @classmethod
    def of_work(cls, work: Work) -> "Done":
        return cls(
            work.farm_id, work.id, work.get_kind_display(), work.done_on, work.facility_id, work.facility
        )  # fmt: skip

    @classmethod
    def of_application(cls, row: Application, zone: str) -> "Done":
        """Its day is that on which it began, by the farm's clock."""
        day = local_date(row.begins_at, zone)
        return cls(row.farm_id, row.id, row.get_kind_display(), day, row.facility_id, row.facility)


def last_done(farm_ids: Collection[UUID], on: date, *, using: str = "default") -> dict[UUID, Done]:
    """The newest of each farm up to a day; a farm without any isn't in it. Two queries."""
    farms = array_of(farm_ids)
    works = Work.objects.using(using).standing().filter(farm_id__any_of=farms, done_on__lte=on)
    newest = works.select_related("facility").order_by("farm_id", "-done_on", "-recorded_at").distinct("farm_id")
    found = {work.farm_id: Done.of_work(work) for work in newest}
    for row in _last_applications(farm_ids, on, using):
        done, before = Done.of_application(row, row.farm.time_zone), found.get(row.farm_id)
        if before is None or before.done_on <= done.done_on:
            found[done.farm_id] = done
    return found


def _last_applications(farm_ids: Collection[UUID], on: date, using: str) -> QuerySet[Application]:
    """The newest application of each farm up to a day by its own clock."""
    local = Func(F("farm__time_zone"), F("begins_at"), function="timezone", output_field=DateTimeField())
    rows = standing_rows(using).filter(farm_id__any_of=array_of(farm_ids)).annotate(day=Cast(local, DateField()))
    newest = rows.filter(day__lte=on).order_by("farm_id", "-begins_at", "-id").distinct("farm_id")
    return newest.select_related("farm", "facility")


def applications_done(farm_ids: Collection[UUID], since: date, on: date, *, using: str = "default") -> list[Done]:
    """The applications of some farms that hold, from one day to another by the farms' clocks, oldest first."""
    rows = standing_rows(using).filter(farm_id__any_of=array_of(farm_ids))
    # Days elsewhere on earth differ from those in UTC by one at most.
    near = rows.filter(begins_at__date__range=(since - DAY, on + DAY))
    told = near.select_related("farm", "facility").order_by("begins_at", "id")
    done = (Done.of_application(row, row.farm.time_zone) for row in told)
    return [each for each in done if since <= each.done_on <= on]
