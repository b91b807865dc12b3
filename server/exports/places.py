"""Where the stations are, as GeoJSON (RFC 7946): for those who may know where the farm's barns stand."""

from typing import Any

from farms.models import Farm
from monitoring.models import Station
from monitoring.selectors import stations_of


def stations_on_the_map(farm: Farm) -> dict[str, Any]:
    """A feature a station, at the place of its barn or lot; a geometry of null where that isn't known."""
    return {"type": "FeatureCollection", "features": [_feature(station) for station in stations_of(farm)]}


def _feature(station: Station) -> dict[str, Any]:
    facility = station.facility
    here = facility.latitude is not None
    return {
        "type": "Feature",
        "id": str(station.id),
        # Longitude first (section 3.1.1).
        "geometry": {"type": "Point", "coordinates": [facility.longitude, facility.latitude]} if here else None,
        "properties": {
            "method": station.method,
            "number": station.number,
            "facility_id": str(facility.id),
            "facility": facility.name,
            "facility_kind": facility.kind,
            "since": station.since.isoformat(),
            "until": station.until.isoformat() if station.until else None,
        },
    }
