"""The barns and yards of a farm."""

from collections.abc import Mapping
from typing import Any

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


class HalfAPosition(Invalid):
    code = "half_a_position"
    message = _("Latitude and longitude belong together. Give both, or null for both.")


class NotOnEarth(Invalid):
    code = "not_on_earth"
    message = _("Latitude lies from -90 to 90 and longitude from -180 to 180, in decimal degrees.")


def add_facility(
    *,
    farm: Farm,
    name: str,
    kind: str,
    position: int = 0,
    latitude: float | None = None,
    longitude: float | None = None,
) -> Facility:
    """Add a barn or lot. `position` is its place in the walking order; latitude and longitude in degrees, WGS 84.

    Raises Invalid or FacilityNameTaken.
    """
    facility = Facility(farm=farm, name=name.strip(), kind=kind, position=position)
    facility.latitude, facility.longitude = latitude, longitude
    _check(facility)
    with explained({"facility_name_once_on_farm": FacilityNameTaken(pointer="/name")}):
        facility.save(force_insert=True)
    return facility


def change_facility(*, facility: Facility, changes: Mapping[str, Any]) -> Facility:
    """Give a barn or lot another name, kind, place in the walking order or place on the earth.

    `changes` holds what becomes different, by the names that add_facility has. Raises Invalid or FacilityNameTaken.
    """
    for field, value in changes.items():
        setattr(facility, field, value.strip() if field == "name" else value)
    _check(facility)
    with explained({"facility_name_once_on_farm": FacilityNameTaken(pointer="/name")}):
        facility.save(force_update=True, update_fields=list(changes))
    return facility


def _check(facility: Facility) -> None:
    if not facility.name:
        raise FacilityNameBlank(pointer="/name")
    if facility.kind not in FacilityKind.values:
        raise FacilityKindUnknown(pointer="/kind", kinds=", ".join(FacilityKind.values))
    latitude, longitude = facility.latitude, facility.longitude
    if latitude is None or longitude is None:
        if latitude is not None or longitude is not None:
            raise HalfAPosition(pointer="/longitude" if longitude is None else "/latitude")
    elif not (-90 <= latitude <= 90 and -180 <= longitude <= 180):
        raise NotOnEarth(pointer="/longitude" if -90 <= latitude <= 90 else "/latitude")
