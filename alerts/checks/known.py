"""What the life of alerts looks at, and what it concludes: rows of a week, of the weeks before, and changes."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import TYPE_CHECKING, Any, NamedTuple, TypeVar
from uuid import UUID

from alerts.models.alert import EventKind
from alerts.rounds import Walks

if TYPE_CHECKING:
    from farms.models import Farm

Matter = tuple[UUID | None, str, str]  # (facility or none, method or "", rule)
Place = tuple[UUID, UUID | None, str]  # (farm, facility or none, method)


# A check holds some ten thousand of each; rows of Django's cost ten times as much.
class OpenAlert(NamedTuple):
    """An alert that is open before the week is looked at; `since_week` is when it last opened."""

    farm_id: UUID
    id: UUID
    facility_id: UUID | None
    method: str
    rule: str
    since_week: date

    @property
    def matter(self) -> Matter:
        return self.facility_id, self.method, self.rule


class PastResult(NamedTuple):
    """What an earlier week's result says for the rules that close an alert."""

    farm_id: UUID
    facility_id: UUID | None
    method: str
    week: date
    mean: float | None
    level: float | None
    at_least: bool
    result: str
    trend: str


class Result(NamedTuple):
    """A result of the judged week.

    `late`: its counts all came more than two weeks late. `one_place`: a whole farm's, whose method is used in one
    facility only. `met`, `known` and `details` are what the rules of `signals.py` say of it.
    """

    farm_id: UUID
    facility_id: UUID | None
    method: str
    mean: float | None
    low: float | None
    high: float | None
    at_least: bool
    devices: int
    level: float | None
    level_of: str
    result: str
    trend: str
    growth: float | None
    growth_low: float | None
    growth_high: float | None
    p_value: float | None
    p_rise: float | None
    weeks_observed: int
    late: bool
    one_place: bool
    met: int
    known: int
    details: Mapping[str, Mapping[str, Any]]

    @property
    def place(self) -> Place:
        return self.farm_id, self.facility_id, self.method


Row = TypeVar("Row", OpenAlert, PastResult, Result)


@dataclass(frozen=True)
class KnownWeek:
    """What is known of one farm when its alerts are looked at.

    `results` are this week's, one a facility (or none) and method; `history` the results of the weeks since its oldest
    open alert; `open` its open alerts; `was_met` whether the rule of an alert (its id) was met when it was last noted.
    `last_rounds`: the last round as an alert of an overdue one (its id) last noted it, None where there was none.
    `no_visitors`: the farm is closed to visits, so that what asks for one waits.
    """

    farm: "Farm"
    results: Sequence[Result]
    history: Sequence[PastResult] = ()
    open: Sequence[OpenAlert] = ()
    walks: Walks = field(default_factory=lambda: Walks((), None))
    was_met: Mapping[UUID, bool] = field(default_factory=dict)
    last_rounds: Mapping[UUID, date | None] = field(default_factory=dict)
    no_visitors: bool = False


@dataclass(frozen=True)
class Change:
    """One thing that happens to an alert: a matter opened (`alert` None), or an alert that stays or closes."""

    kind: EventKind
    farm_id: UUID
    matter: Matter
    evidence: Mapping[str, Any]
    alert: OpenAlert | None = None
    because: str = ""


def by_farm(rows: Iterable[Row]) -> dict[UUID, list[Row]]:
    found: dict[UUID, list[Row]] = defaultdict(list)
    for row in rows:
        found[row.farm_id].append(row)
    return found
