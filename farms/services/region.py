"""A group's regions, and how their reports are made: what its coordinator decides."""

from django.utils.text import slugify
from django.utils.translation import gettext_lazy as _

from farms.access import group_for
from farms.constraints import explained
from farms.errors import Conflict, Invalid
from farms.models import Group, Region, User
from farms.models.access import GroupRole


class RegionNameTaken(Conflict):
    code = "region_name_taken"
    message = _("The group has a region of that name already. Choose another name.")


class RegionNameBlank(Invalid):
    code = "region_name_blank"
    message = _("Give the region a name of letters or digits.")


def add_region(*, group: Group, name: str, by: User) -> Region:
    """Add a region to a group. Raises Missing or Forbidden (no coordinator), RegionNameBlank or RegionNameTaken."""
    group_for(by, group.id, role=GroupRole.COORDINATOR)
    return make_region(group=group, name=name)


def make_region(*, group: Group, name: str) -> Region:
    """A region of a group, its slug made of its name. For whoever may; raises RegionNameBlank or RegionNameTaken."""
    slug = slugify(name)[:50]
    if not slug:
        raise RegionNameBlank(pointer="/name")
    with explained({"region_slug_once_in_group": RegionNameTaken(pointer="/name")}):
        return Region.objects.create(group=group, name=name.strip(), slug=slug)


def split_by_housing(*, region: Region, split: bool) -> Region:
    """From the next quarter on, make the region's reports by housing too, or no more. A second time changes nothing."""
    Region.objects.filter(id=region.id).update(split_by_housing=split)
    region.refresh_from_db(fields=["split_by_housing"])
    return region
