"""The barns and yards of a farm."""

from django.utils.translation import gettext_lazy as _

from farms.constraints import explained
from farms.errors import Conflict, Invalid
from farms.models import Facility, Farm
from farms.models.farm import FacilityKind


class FacilityNameTaken(Conflict):
    code = "facility_name_taken"
    message = _("This farm already has a barn or lot of that name. Choose another name.")


class FacilityKindUnknown(Invalid):
    code = "facility_kind_unknown"
    message = _("There is no such kind of barn or lot. Choose one of: {kinds}.")


class FacilityNameBlank(Invalid):
    code = "facility_name_blank"
    message = _("Give the barn or lot a name.")


def add_facility(*, farm: Farm, name: str, kind: str, position: int = 0) -> Facility:
    """Add a barn or lot. `position` is its place in the walking order. Raises Invalid or FacilityNameTaken."""
    if not name.strip():
        raise FacilityNameBlank(pointer="/name")
    if kind not in FacilityKind.values:
        raise FacilityKindUnknown(pointer="/kind", kinds=", ".join(FacilityKind.values))
    with explained({"facility_name_once_on_farm": FacilityNameTaken(pointer="/name")}):
        return Facility.objects.create(farm=farm, name=name.strip(), kind=kind, position=position)
