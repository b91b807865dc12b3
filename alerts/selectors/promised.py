"""What each farm of a Monday list was promised last time: calls and visits, next steps, another look; by its day."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING
from uuid import UUID

from alerts.models import CallNote
from alerts.selectors.promises import put_off_by
from farms.offers import promises_of_farms
from farms.services import PromiseKind

if TYPE_CHECKING:
    from farms.models import User
    from farms.visits import VisitTold

# A planned call whose day has gone by without a note stays on the list for so long.
LOOKED_BACK = timedelta(days=14)
STEP = "step"


@dataclass(frozen=True)
class Promised:
    """One promise and its day. `kind`: visit, call, put_off, tell, or step with its `words`.

    `left`: the adviser who promised it and left, while nobody has taken it over.
    """

    kind: str
    day: date
    words: str = ""
    left: str = ""


def promised_of_farms(
    user: "User", farm_ids: Sequence[UUID], visits: "Sequence[VisitTold]", notes: "Notes", today: date
) -> dict[UUID, list[Promised]]:
    """By farm, the earliest first. `visits` are the adviser's own from `LOOKED_BACK` ago on. Four queries."""
    found: dict[UUID, list[Promised]] = defaultdict(list)
    for told in visits:
        note = notes.last.get(told.visit.farm_id)
        if told.visit.day >= today or note is None or note.noted_on < told.visit.day:
            found[told.visit.farm_id].append(Promised(told.told_as, told.visit.day))
    for farm_id, row in notes.steps.items():
        if row.step_on is not None:
            found[farm_id].append(Promised(STEP, row.step_on, row.step))
    for promise in put_off_by(user.id, farm_ids, today):
        found[promise.farm_id].append(Promised(promise.kind, promise.day))
    for left in promises_of_farms(farm_ids):
        found[left.farm_id].append(Promised(PromiseKind(left.kind).value, left.day, left=str(left.left)))
    return {farm_id: sorted(some, key=lambda each: (each.day, each.kind)) for farm_id, some in found.items()}


@dataclass(frozen=True)
class Notes:
    """What was noted last of each farm, and the next step that is open there."""

    last: Mapping[UUID, CallNote]
    steps: Mapping[UUID, CallNote]
