"""Whose mails don't arrive."""

from collections.abc import Collection
from typing import TYPE_CHECKING
from uuid import UUID

from django.db.models import F

from alerts.models import StoppedAddress
from farms.lookups import array_of
from farms.selectors import owners_of_farms

if TYPE_CHECKING:
    from farms.models import User


def stop_of(user: "User") -> StoppedAddress | None:
    """Why no mail goes to the address that a person has now; None where mails go."""
    return StoppedAddress.objects.filter(user_id=user.id, address=user.email, ended_at__isnull=True).first()


def farms_not_reached(farm_ids: Collection[UUID]) -> dict[UUID, bool]:
    """The farms of which an owner gets no mail, since it doesn't arrive; True where no owner gets any. Two queries."""
    owners = list(owners_of_farms(farm_ids).values_list("farm_id", "user_id"))
    users = array_of({user_id for _farm, user_id in owners})
    stopped = StoppedAddress.objects.filter(user_id__any_of=users, ended_at__isnull=True)
    stopped_ids = set(stopped.filter(address=F("user__email")).values_list("user_id", flat=True))
    reached = {farm_id for farm_id, user_id in owners if user_id not in stopped_ids}
    return {farm_id: farm_id not in reached for farm_id, user_id in owners if user_id in stopped_ids}
