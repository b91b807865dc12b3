"""The day of a plan that something done stands for, as a body names it."""

from typing import Any

from django.utils.translation import gettext_lazy as _

from farms.access import one_of
from farms.errors import Invalid
from farms.models import Farm
from monitoring.selectors import planned_works_of
from monitoring.services import PlannedFor


class PlannedForMissing(Invalid):
    code = "planned_for_missing"
    message = _("Give the plan and its day that this work stands for together, or neither of them.")


def planned_for_in(farm: Farm, body: dict[str, Any]) -> PlannedFor | None:
    """The planned day, taken out of a body. Raises PlannedForMissing, or Missing for a plan that isn't there."""
    planned_id, day = body.pop("planned_id"), body.pop("planned_for")
    if (planned_id is None) != (day is None):
        raise PlannedForMissing(pointer="/planned_for")
    return None if planned_id is None else PlannedFor(one_of(planned_works_of(farm), planned_id), day)
