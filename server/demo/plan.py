"""The plan of an invented dairy: its barns as outlines around a yard, and its stations where they would hang."""

from collections.abc import Sequence
from datetime import datetime
from itertools import groupby
from uuid import UUID

from farms.models import Farm, User
from monitoring.models import Station
from monitoring.services import Drawn, draw_plan
from server.demo.scenario import Building

# Left, top, width, height of the first, second and third barn on the sheet.
PLOTS = ((0.05, 0.10, 0.30, 0.50), (0.47, 0.10, 0.48, 0.34), (0.52, 0.60, 0.40, 0.28))
# What stands on every yard and holds no station: corners from the left upper one.
MILK_HOUSE = [[0.37, 0.14], [0.45, 0.14], [0.45, 0.30], [0.37, 0.30]]
FEED = [[0.08, 0.66], [0.30, 0.66], [0.30, 0.74], [0.40, 0.74], [0.40, 0.90], [0.08, 0.90]]
ACROSS = 3  # stations beside each other


def lay_out(farm: Farm, stations: Sequence[tuple[Station, Building]], *, by: User, now: datetime) -> None:
    """Draw the barns, and put the stations of each in rows within it."""
    outlines = [
        {"name": "Milk house", "facility_id": None, "points": MILK_HOUSE},
        {"name": "Feed yard", "facility_id": None, "points": FEED},
    ]
    places: dict[UUID, tuple[float, float] | None] = {}
    barns = groupby((station for station, _building in stations), key=lambda station: station.facility_id)
    for (facility_id, of_it), plot in zip(barns, PLOTS, strict=False):
        outlines.append({"name": "", "facility_id": str(facility_id), "points": _corners(plot)})
        hung = list(of_it)
        places |= {station.id: _spot(plot, place, len(hung)) for place, station in enumerate(hung)}
    draw_plan(farm=farm, drawn=Drawn(outlines, places), by=by, now=now)


def _corners(plot: tuple[float, float, float, float]) -> list[list[float]]:
    left, top, width, height = plot
    right, foot = round(left + width, 4), round(top + height, 4)
    return [[left, top], [right, top], [right, foot], [left, foot]]


def _spot(plot: tuple[float, float, float, float], place: int, many: int) -> tuple[float, float]:
    """The middle of its part of the barn: rows of three, a little uneven, as nails in posts are."""
    left, top, width, height = plot
    rows = -(-many // ACROSS)
    row, column = divmod(place, ACROSS)
    in_row = min(ACROSS, many - row * ACROSS)
    uneven = ((place * 7) % 5 - 2) / 200
    return (
        round(left + width * (column + 0.5) / in_row + uneven, 3),
        round(top + height * (row + 0.8) / (rows + 0.25) + uneven / 2, 3),
    )
