"""Work done against flies."""

from collections.abc import Collection
from datetime import date
from uuid import UUID

from django.db.models import QuerySet

from farms.models import Farm
from monitoring.models import Work


def works_of(farm: Farm, since: date | None = None) -> QuerySet[Work]:
    """What was done on the farm, newest first; from a day on, where asked."""
    works = Work.objects.filter(farm_id=farm.id).select_related("facility").order_by("-done_on", "-id")
    return works if since is None else works.filter(done_on__gte=since)


def last_works(farm_ids: Collection[UUID], on: date, *, using: str = "default") -> dict[UUID, Work]:
    """The newest work of each farm up to a day; a farm without any isn't in it."""
    works = Work.objects.using(using).filter(farm_id__in=list(farm_ids), done_on__lte=on).select_related("facility")
    return {work.farm_id: work for work in works.order_by("farm_id", "done_on", "recorded_at")}
