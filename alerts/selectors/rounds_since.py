"""What came in after a week was judged and belongs to a later one: the newest round, in plain comparison."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import TYPE_CHECKING
from uuid import UUID

from alerts.selectors.levels import levels_of
from monitoring.selectors import FacilityResult, newest_rounds_received, readings_of_round, round_result

if TYPE_CHECKING:
    from alerts.selectors.farm_weeks import FarmWeek
    from farms.models import Farm
    from monitoring.models import Round


@dataclass(frozen=True)
class RoundSince:
    """A round that the week's check has not seen, and each facility's mean beside its action level."""

    walked_on: date
    results: Sequence[FacilityResult]


def with_rounds_since(weeks: "Sequence[FarmWeek]", judged_to: datetime) -> "list[FarmWeek]":
    """The weeks with the newest round received since they were judged.

    What was received for the judged week itself has it judged again, and is told as that week's result.
    """
    if not weeks:
        return []
    rounds = newest_rounds_received([told.farm.id for told in weeks], judged_to, after=weeks[0].week)
    return [
        replace(told, since=_since(told.farm, rounds[told.farm.id])) if told.farm.id in rounds else told
        for told in weeks
    ]


def _since(farm: "Farm", walked: "Round") -> RoundSince:
    levels = levels_of(farm, walked.walked_on)

    def level_of(method: str, facility_id: UUID) -> float | None:
        return levels.of(method, facility_id).value

    return RoundSince(walked.walked_on, round_result(farm, list(readings_of_round(farm, walked.id)), level_of))
