"""What advisers noted of their calls, and which next steps are open."""

from collections.abc import Collection
from typing import TYPE_CHECKING
from uuid import UUID

from django.db.models import Q, QuerySet

from alerts.models import CallNote
from farms.lookups import array_of

if TYPE_CHECKING:
    from farms.models import Farm


def call_notes_of(farm: "Farm") -> QuerySet[CallNote]:
    """Everything that was noted of calls with a farm, newest first."""
    return CallNote.objects.filter(farm_id=farm.id).select_related("by").order_by("-entry")


def last_notes_of_farms(farm_ids: Collection[UUID]) -> dict[UUID, CallNote]:
    """The last words that were noted of each of these farms. One query."""
    return _newest(farm_ids, ~Q(text=""))


def steps_of_farms(farm_ids: Collection[UUID]) -> dict[UUID, CallNote]:
    """The next step that is open on each of these farms, whoever promised it: the last one, unless it was done.

    One query. A note without a step leaves the one before open.
    """
    newest = _newest(farm_ids, Q(done=True) | ~Q(step=""))
    return {farm_id: row for farm_id, row in newest.items() if not row.done}


def _newest(farm_ids: Collection[UUID], wanted: Q) -> dict[UUID, CallNote]:
    rows = CallNote.objects.filter(wanted, farm_id__any_of=array_of(farm_ids)).select_related("by")
    return {row.farm_id: row for row in rows.order_by("farm_id", "-entry").distinct("farm_id")}
