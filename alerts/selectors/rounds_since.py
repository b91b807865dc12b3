"""What came in after a week was judged and belongs to a later one: the newest round, in plain comparison."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import TYPE_CHECKING
from uuid import UUID

from alerts.selectors.levels import levels_of_farms
from monitoring.selectors import FacilityResult, pooled_result, readings_received

if TYPE_CHECKING:
    from alerts.levels import FarmLevels
    from alerts.selectors.farm_weeks import FarmWeek
    from monitoring.models import Reading


@dataclass(frozen=True)
class RoundSince:
    """A round that the week's check has not seen, and each facility's mean beside its action level."""

    walked_on: date
    results: Sequence[FacilityResult]


def with_rounds_since(weeks: "Sequence[FarmWeek]", since: datetime) -> "list[FarmWeek]":
    """The weeks of one group's farms with the newest round of a later week, where it was received since that moment.

    What was received for the judged week itself has it judged again, and is told as that week's result.
    """
    if not weeks:
        return []
    farm_ids = [told.farm.id for told in weeks]
    newest = {
        farm_id: _newest_round(readings)
        for farm_id, readings in readings_received(farm_ids, since, after=weeks[0].week).items()
    }
    levels = _levels(weeks[0].farm.group_id, newest)
    found = {farm_id: _since(readings, levels[farm_id]) for farm_id, readings in newest.items()}
    return [replace(told, since=found[told.farm.id]) if told.farm.id in found else told for told in weeks]


def _newest_round(readings: "Sequence[Reading]") -> "list[Reading]":
    newest = max((each.round for each in readings), key=lambda walked: (walked.walked_on, walked.received_at))
    return [each for each in readings if each.round_id == newest.id]


def _levels(group_id: UUID, newest: "Mapping[UUID, Sequence[Reading]]") -> "dict[UUID, FarmLevels]":
    """What applied on each farm on the day of its round; one query a day."""
    by_day: dict[date, list[UUID]] = defaultdict(list)
    for farm_id, readings in newest.items():
        by_day[readings[0].round.walked_on].append(farm_id)
    return {
        farm_id: levels
        for day, farm_ids in by_day.items()
        for farm_id, levels in levels_of_farms(group_id, farm_ids, day).items()
    }


def _since(readings: "Sequence[Reading]", levels: "FarmLevels") -> RoundSince:
    results = pooled_result(readings, lambda method, facility_id: levels.of(method, facility_id).value)
    return RoundSince(readings[0].round.walked_on, results)
