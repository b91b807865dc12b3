"""What an application is held against: earlier ones, wasps released, what the group asks and the certifier said."""

from dataclasses import dataclass
from datetime import datetime, time, timedelta
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from django.utils.functional import cached_property

from farms.clock import local_date
from farms.models import Farm
from monitoring.models import Application, PlannedWork, Work
from monitoring.models.work import WorkKind
from monitoring.rules.stewardship import Known, StewardshipWarning, Use, warnings_of
from monitoring.selectors.application import standing_rows
from monitoring.selectors.planned_work import plans_of_rows
from monitoring.selectors.product import asks_for_certificate


@dataclass(frozen=True)
class Stewardship:
    """A farm's past as far as warnings ask for it; read once for a whole list."""

    farm: Farm

    @cached_property
    def uses(self) -> list[tuple[UUID, Use]]:
        """What was used and holds, each with its record's id."""
        return [(row.id, use_of(row)) for row in standing_rows().filter(farm_id=self.farm.id)]

    @cached_property
    def releases(self) -> list[tuple[datetime, UUID | None]]:
        """Releases of parasitic wasps, done and planned, each at the beginning of its day, and where."""
        done = Work.objects.standing().filter(farm_id=self.farm.id, kind=WorkKind.WASPS)
        plans = plans_of_rows(PlannedWork.objects.filter(farm_id=self.farm.id, kind=WorkKind.WASPS))
        days = list(done.values_list("done_on", "facility_id"))
        days += [(day, plan.row.facility_id) for plan in plans for day in plan.standing_days if day not in plan.settled]
        zone = ZoneInfo(self.farm.time_zone)
        return [(datetime.combine(day, time.min, zone), place) for day, place in days]

    @cached_property
    def asks(self) -> bool:
        return asks_for_certificate(self.farm.group_id)

    def warnings(self, row: Application, certificate: str | None) -> list[StewardshipWarning]:
        """What is to be said of a record. `certificate` is None where whoever reads may not know it."""
        itself = (row.id, row.replaces_id)
        earlier = [use for row_id, use in self.uses if row_id not in itself and use.at < row.begins_at]
        missing = self.asks and certificate is not None and not certificate
        return warnings_of(use_of(row), Known(earlier, self.releases, missing, self._certifier(row)))

    def before_using(self, use: Use) -> list[StewardshipWarning]:
        """What is to be thought of before something is used."""
        return warnings_of(use, Known([each for _row_id, each in self.uses], self.releases))

    def _certifier(self, row: Application) -> tuple[str, datetime] | None:
        answer: Any = row.certifier_answer
        if answer is None:
            return None
        # Told by days: an answer of the same day came in time.
        late = answer.answered_on > local_date(row.begins_at, self.farm.time_zone)
        return answer.said, row.begins_at + timedelta(seconds=1 if late else 0)


def use_of(row: Application) -> Use:
    return Use(row.kind, frozenset(row.irac_groups), row.facility_id, row.begins_at)
