"""What was done last against flies on each farm, work or application: what mails and lists name."""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING
from uuid import UUID

from farms.clock import local_date
from farms.lookups import array_of
from farms.models import Facility
from monitoring.models import Application, Work
from monitoring.selectors.application import standing_rows

if TYPE_CHECKING:
    from django.utils.functional import Promise


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
    for done in applications_done(farm_ids, date.min, on, using=using):
        before = found.get(done.farm_id)
        if before is None or before.done_on <= done.done_on:
            found[done.farm_id] = done
    return found


def applications_done(farm_ids: Collection[UUID], since: date, on: date, *, using: str = "default") -> list[Done]:
    """The applications of some farms that hold, from one day to another by the farms' clocks, oldest first."""
    rows = standing_rows(using).filter(farm_id__any_of=array_of(farm_ids), begins_at__date__lte=on + timedelta(days=1))
    told = rows.select_related("farm", "facility").order_by("begins_at", "id")
    done = (Done.of_application(row, row.farm.time_zone) for row in told)
    return [each for each in done if since <= each.done_on <= on]
