"""On which day a farm's weekly mail goes out: the last one chosen, else Monday."""

from collections.abc import Collection
from typing import TYPE_CHECKING
from uuid import UUID

from django.db.models import Exists, OuterRef, QuerySet

from alerts.models import MailDay
from alerts.models.mail_day import MONDAY
from farms.lookups import array_of
from farms.selectors import farms_of_groups

if TYPE_CHECKING:
    from farms.models import Farm


def mail_days_chosen(farm: "Farm") -> QuerySet[MailDay]:
    """Every day that was chosen for the farm, newest first."""
    return MailDay.objects.filter(farm_id=farm.id).order_by("-entry")


def mail_day_of(farm: "Farm") -> int:
    """The weekday of the farm's mail; 1 is Monday."""
    return mail_days_of_farms([farm.id]).get(farm.id, MONDAY)


def farms_with_mail_day(group_ids: Collection[UUID]) -> "QuerySet[Farm]":
    """The farms of some groups that ever chose a day."""
    return farms_of_groups(group_ids).filter(Exists(MailDay.objects.filter(farm_id=OuterRef("id"))))


def mail_days_of_farms(farm_ids: Collection[UUID]) -> dict[UUID, int]:
    """The weekday that was chosen for each of these farms; those that never chose are left out. One query."""
    rows = MailDay.objects.filter(farm_id__any_of=array_of(farm_ids)).order_by("farm_id", "-entry").distinct("farm_id")
    return dict(rows.values_list("farm_id", "weekday"))
