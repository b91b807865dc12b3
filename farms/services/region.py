"""How a region's reports are made: what its coordinator decides."""

from farms.models import Region


def split_by_housing(*, region: Region, split: bool) -> Region:
    """From the next quarter on, make the region's reports by housing too, or no more. A second time changes nothing."""
    Region.objects.filter(id=region.id).update(split_by_housing=split)
    region.refresh_from_db(fields=["split_by_housing"])
    return region
