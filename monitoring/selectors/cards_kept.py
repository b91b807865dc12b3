"""Where a farm keeps its dated cards."""

from django.db.models import QuerySet

from farms.models import Farm
from monitoring.models import CardsKept


def cards_kept_of(farm: Farm) -> QuerySet[CardsKept]:
    """All that was noted, the one that holds longest first; what was erased isn't there."""
    return CardsKept.objects.filter(farm_id=farm.id).order_by("-from_on", "-recorded_at", "-id")
