"""What an outline on a farm's plan may be: a shape with a name or of a facility, its corners within the sheet."""

import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any
from uuid import UUID

from django.utils.translation import gettext_lazy as _

from farms.errors import Detail
from monitoring.models.plan import MOST_OUTLINES

FEWEST_CORNERS, MOST_CORNERS = 3, 40
LONGEST_NAME = 60
DECIMALS = 4
# A shape smaller than a thousandth of the sheet one way and another is a slip of the pen.
SMALLEST = 1e-6
PARTS = {"name", "facility_id", "points"}

NO_LIST = _("The outlines are a list, each with its name or facility_id, and its points.")
TOO_MANY = _("There are more than {most} outlines. Leave out what doesn't help to find a card.")
NO_OUTLINE = _("An outline has a name or a facility_id, and points, and nothing else.")
NAMELESS = _("Say what this outline is: a barn or lot of the farm, or a name of at most {most} characters on one line.")
FACILITY_ELSEWHERE = _("This barn or lot isn't one of this farm's. Choose one of the farm's own, or give a name.")
CORNERS_WRONG = _("An outline has {fewest} to {most} corners. Add some, or leave some out.")
CORNER_WRONG = _("Each corner has two numbers from 0 to 1: from the left, and from the top.")
NO_ROOM = _("The corners of this outline lie on one line. Move one, so that there is room inside.")

Point = tuple[float, float]


@dataclass(frozen=True)
class Outline:
    """A building or yard on the sheet: of a facility, or with a name; corners from 0 (left, top) to 1."""

    name: str
    facility_id: UUID | None
    points: tuple[Point, ...]

    def as_json(self) -> dict[str, Any]:
        facility = str(self.facility_id) if self.facility_id else None
        return {"name": self.name, "facility_id": facility, "points": [list(point) for point in self.points]}


class WrongOutlines(Exception):
    """Outlines that can't be kept; `errors` says where and why."""

    def __init__(self, errors: Sequence[Detail]) -> None:
        super().__init__()
        self.errors = errors


def outlines_from(given: Any, facilities: Collection[UUID]) -> tuple[Outline, ...]:
    """What was sent, by its shape, for a farm with these facilities. Raises WrongOutlines."""
    if not isinstance(given, list):
        raise WrongOutlines([Detail("/outlines", str(NO_LIST), "outlines_wrong")])
    if len(given) > MOST_OUTLINES:
        told = str(TOO_MANY).format(most=MOST_OUTLINES)
        raise WrongOutlines([Detail("/outlines", told, "too_many_outlines")])
    errors: list[Detail] = []
    found = [_outline(each, f"/outlines/{place}", facilities, errors) for place, each in enumerate(given)]
    if errors:
        raise WrongOutlines(errors)
    return tuple(each for each in found if each is not None)


def outlines_kept(stored: Any) -> tuple[Outline, ...]:
    """Those of a stored plan, which were checked when they came."""
    return tuple(
        Outline(each["name"], _uuid(each["facility_id"]), tuple((x, y) for x, y in each["points"])) for each in stored
    )


def _outline(given: Any, at: str, facilities: Collection[UUID], errors: list[Detail]) -> Outline | None:
    if not isinstance(given, Mapping) or not {"points"} <= set(given) <= PARTS:
        errors.append(Detail(at, str(NO_OUTLINE), "outline_wrong"))
        return None
    before = len(errors)
    name, facility = _whose(given, at, facilities, errors)
    points = _points(given["points"], f"{at}/points", errors)
    return Outline(name, facility, points) if len(errors) == before else None


def _whose(
    given: Mapping[str, Any], at: str, facilities: Collection[UUID], errors: list[Detail]
) -> tuple[str, UUID | None]:
    name, wanted = given.get("name", ""), given.get("facility_id")
    told = " ".join(name.split()) if isinstance(name, str) else ""
    facility = _uuid(wanted)
    if wanted and facility not in facilities:
        errors.append(Detail(f"{at}/facility_id", str(FACILITY_ELSEWHERE), "unknown_facility"))
    elif not (told or wanted) or not isinstance(name, str) or len(told) > LONGEST_NAME or not told.isprintable():
        errors.append(Detail(f"{at}/name", str(NAMELESS).format(most=LONGEST_NAME), "outline_nameless"))
    return told, facility


def _points(given: Any, at: str, errors: list[Detail]) -> tuple[Point, ...]:
    if not isinstance(given, list) or not FEWEST_CORNERS <= len(given) <= MOST_CORNERS:
        told = str(CORNERS_WRONG).format(fewest=FEWEST_CORNERS, most=MOST_CORNERS)
        errors.append(Detail(at, told, "corners_wrong"))
        return ()
    if not all(isinstance(each, list) and len(each) == 2 and all(map(on_the_sheet, each)) for each in given):
        errors.append(Detail(at, str(CORNER_WRONG), "corner_wrong"))
        return ()
    points = tuple((round(float(x), DECIMALS), round(float(y), DECIMALS)) for x, y in given)
    if abs(area(points)) < SMALLEST:
        errors.append(Detail(at, str(NO_ROOM), "outline_without_room"))
    return points


def on_the_sheet(value: Any) -> bool:
    """Whether it is a number from 0 to 1; true and false are none."""
    return type(value) in (int, float) and math.isfinite(value) and 0 <= value <= 1


def area(points: Sequence[Point]) -> float:
    """The room inside, a share of the sheet; a minus where the corners go the other way round (shoelace formula)."""
    return sum(x0 * y1 - x1 * y0 for (x0, y0), (x1, y1) in pairwise([*points, points[0]])) / 2


def _uuid(value: Any) -> UUID | None:
    try:
        return UUID(value) if value else None
    except (TypeError, ValueError, AttributeError):
        return None
