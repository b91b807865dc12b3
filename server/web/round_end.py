"""What a round says at its end: each building's mean, its action level, the round before, and one place to look."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Any
from uuid import UUID

from alerts.selectors import levels_of
from alerts.wording import places_to_look, question_text
from alerts.wording.places import facility_phrase
from monitoring.methods import LEG
from monitoring.selectors import FacilityResult, readings_of_round, round_result, rounds_of
from server.web.leg_verdict import LegTold, legs_told
from server.web.round_form import lines_on, stations_read

if TYPE_CHECKING:
    from monitoring.models import Round


@dataclass(frozen=True)
class BuildingEnd:
    """One building and method: this round, and the mean of the round before (None where it wasn't counted).

    `legs` says of each leg count whether enough animals were looked at.
    """

    result: FacilityResult
    before: float | None
    legs: Sequence[LegTold] = ()


@dataclass(frozen=True)
class LookHere:
    """The one place to look first: a question to check on the spot. `station` is empty where none stands out."""

    building: str
    where: str
    station: str = ""
    question: str = ""


def end_of(farm: Any, walked: "Round") -> dict[str, Any]:
    """For the template: buildings, the place to look (or None), and how many stations of the walk are still open."""
    results = _results(farm, walked)
    before, means = means_before(farm, walked.walked_on)
    legs = legs_told(farm, walked)
    return {
        "buildings": [BuildingEnd(result, means.get(_key(result)), _legs_in(result, legs)) for result in results],
        "before": before,
        "look": look_here(results),
        "left": len(lines_on(farm, walked.walked_on, done=stations_read(farm, walked.id))),
    }


def means_before(farm: Any, day: date) -> tuple["Round | None", dict[tuple[UUID, str], float | None]]:
    """The newest round before a day, and its means by facility and method."""
    before = rounds_of(farm).filter(walked_on__lt=day).first()
    return before, {_key(result): result.mean for result in _results(farm, before)} if before else {}


def _results(farm: Any, walked: "Round") -> list[FacilityResult]:
    levels = levels_of(farm, walked.walked_on)

    def level_of(method: str, facility_id: UUID) -> float | None:
        return levels.of(method, facility_id).value

    return round_result(farm, list(readings_of_round(farm, walked.id)), level_of)


def _legs_in(result: FacilityResult, legs: Sequence[LegTold]) -> list[LegTold]:
    return [told for told in legs if (told.reading.station.facility_id, LEG.code) == _key(result)]


def _key(result: FacilityResult) -> tuple[UUID, str]:
    return result.facility.id, result.method.code


def look_here(results: Sequence[FacilityResult]) -> LookHere | None:
    """The building that is highest against its level, and the station that holds most of it if one stands out."""
    counted = [result for result in results if result.mean]
    if not counted:
        return None
    top = max(counted, key=lambda result: (result.mean or 0) / (result.level or float("inf")))
    building, where = facility_phrase(top.facility), places_to_look(top.facility.kind)
    if top.place is None:
        return LookHere(building, where)
    return LookHere(building, where, top.place.station.label, question_text(top.place.question))
