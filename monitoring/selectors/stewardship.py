"""What an application is held against: earlier ones, wasps released, what the group asks and the certifier said."""

from dataclasses import dataclass
from datetime import UTC, datetime, time, timedelta
from typing import Any
from uuid import UUID

from django.utils.functional import cached_property

from farms.clock import local_date
from farms.models import Farm
from monitoring.models import Application, PlannedWork, Work
from monitoring.models.work import WorkKind
from monitoring.rules.stewardship import Known, StewardshipWarning, Use, warnings_of
from monitoring.selectors.application import standing_applications_of
from monitoring.selectors.planned_work import plans_of_rows
from monitoring.selectors.product import asks_for_certificate


@dataclass(frozen=True)
class Stewardship:
    """A farm's past as far as warnings ask for it; read once for a whole list."""

    farm: Farm

    @cached_property
    def earlier(self) -> list[Application]:
        return list(standing_applications_of(self.farm))

    @cached_property
    def releases(self) -> list[tuple[datetime, UUID | None]]:
        """Releases of parasitic wasps, done and planned, each at the beginning of its day in UTC, and where."""
        done = Work.objects.standing().filter(farm_id=self.farm.id, kind=WorkKind.WASPS)
        plans = plans_of_rows(PlannedWork.objects.filter(farm_id=self.farm.id, kind=WorkKind.WASPS))
        days = list(done.values_list("done_on", "facility_id"))
        days += [(day, plan.row.facility_id) for plan in plans for day in plan.standing_days if day not in plan.settled]
        return [(datetime.combine(day, time.min, UTC), place) for day, place in days]

    @cached_property
    def asks(self) -> bool:
        return asks_for_certificate(self.farm.group_id)

    def warnings(self, row: Application, certificate: str | None) -> list[StewardshipWarning]:
        """What is to be said of a record. `certificate` is None where whoever reads may not know it."""
        earlier = [
            use_of(each)
            for each in self.earlier
            if each.id not in (row.id, row.replaces_id) and each.begins_at < row.begins_at
        ]
        missing = self.asks and certificate is not None and not certificate
        return warnings_of(use_of(row), Known(earlier, self.releases, missing, self._certifier(row)))

    def before_using(self, use: Use) -> list[StewardshipWarning]:
        """What is to be thought of before something is used."""
        earlier = [use_of(each) for each in self.earlier]
        return warnings_of(use, Known(earlier, self.releases))

    def _certifier(self, row: Application) -> tuple[str, datetime] | None:
        answer: Any = row.certifier_answer
        if answer is None:
            return None
        # Told by days: an answer of the same day came in time.
        late = answer.answered_on > local_date(row.begins_at, self.farm.time_zone)
        return answer.said, row.begins_at + timedelta(seconds=1 if late else 0)


def use_of(row: Application) -> Use:
    return Use(row.kind, frozenset(row.irac_groups), row.facility_id, row.begins_at)
