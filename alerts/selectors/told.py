"""Which farms get no mail, and which of their weeks were told otherwise."""

from collections.abc import Collection
from datetime import date
from typing import TYPE_CHECKING
from uuid import UUID

from django.db.models import QuerySet

from alerts.models import Digest, Told
from alerts.models.outbox import DeliveryState, occasion_of
from farms.lookups import array_of
from farms.selectors import owners_with_address

if TYPE_CHECKING:
    from farms.models import Farm


def told_of_farms(farm_ids: Collection[UUID], week: date) -> dict[UUID, Told]:
    """What was noted last of telling a week to each of these farms, where it was not taken back."""
    rows = Told.objects.filter(farm_id__any_of=array_of(farm_ids), week=week)
    newest = rows.order_by("farm_id", "-entry").distinct("farm_id")
    return {row.farm_id: row for row in newest if not row.undone}


def weeks_told_before(farm_ids: Collection[UUID], week: date) -> dict[UUID, date]:
    """The newest week before this one (their Mondays) that was noted as told to each of these farms."""
    rows = Told.objects.filter(farm_id__any_of=array_of(farm_ids), week__lt=week)
    newest = rows.order_by("farm_id", "week", "-entry").distinct("farm_id", "week")
    # In the order of their weeks: the last one stays.
    return {farm_id: told for farm_id, told, undone in newest.values_list("farm_id", "week", "undone") if not undone}


def told_rows_of(farm: "Farm") -> QuerySet[Told]:
    """Everything that was noted of telling the farm, newest first."""
    return Told.objects.filter(farm_id=farm.id).order_by("-entry")


def farms_without_mail(farm_ids: Collection[UUID], week: date) -> set[UUID]:
    """Those of these farms where no owner gets the week's mail: no account, no address, or it was refused there."""
    refused = Digest.objects.filter(
        farm_id__any_of=array_of(farm_ids), occasion=occasion_of(week), state=DeliveryState.REFUSED
    )
    nowhere = set(refused.values_list("farm_id", "recipient_id"))
    owners = owners_with_address(farm_ids).values_list("farm_id", "user_id")
    reached = {farm_id for farm_id, user_id in owners if (farm_id, user_id) not in nowhere}
    return set(farm_ids) - reached
