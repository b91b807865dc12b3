"""The life of alerts: what this week's results open, keep open and close. Decided here, stored in store.py."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import TYPE_CHECKING, Any, NamedTuple, TypeVar
from uuid import UUID

from alerts.checks.occasion import Occasion
from alerts.checks.rules import over, overdue, rising
from alerts.models.alert import ClosedBecause, EventKind, Rule
from alerts.rounds import Walks, days_without, due_on, season_on

if TYPE_CHECKING:
    from farms.models import Farm

Matter = tuple[UUID | None, str, str]  # (facility or none, method or "", rule)
Place = tuple[UUID, UUID | None, str]  # (farm, facility or none, method)


# What the life of alerts looks at. A check holds some ten thousand of each; rows of Django's cost ten times as much.
class OpenAlert(NamedTuple):
    """An alert that is open before the week is looked at."""

    farm_id: UUID
    id: UUID
    facility_id: UUID | None
    method: str
    rule: str
    opened_week: date

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
    """A result of the judged week. `late`: its counts all came more than two weeks late."""

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
    weeks_observed: int
    late: bool

    @property
    def place(self) -> Place:
        return self.farm_id, self.facility_id, self.method


Row = TypeVar("Row", OpenAlert, PastResult, Result)


@dataclass(frozen=True)
class KnownWeek:
    """What is known of one farm when its alerts are looked at.

    `results` are this week's, one a facility (or none) and method; `history` the results of the weeks since its oldest
    open alert; `open` its open alerts.
    """

    farm: "Farm"
    results: Sequence[Result]
    history: Sequence[PastResult] = ()
    open: Sequence[OpenAlert] = ()
    walks: Walks = field(default_factory=lambda: Walks((), None))


@dataclass(frozen=True)
class Change:
    """One thing that happens to an alert: a matter opened (`alert` None), or an alert that stays or closes."""

    kind: EventKind
    farm_id: UUID
    matter: Matter
    evidence: Mapping[str, Any]
    alert: OpenAlert | None = None
    because: str = ""


def changes_of(known: KnownWeek, occasion: Occasion) -> list[Change]:
    """What happens to a farm's alerts this week."""
    day = occasion.day_on(known.farm)
    if season_on(known.walks.seasons, day) is None:
        return [_close(alert, ClosedBecause.SEASON_CLOSED, {}) for alert in known.open]
    by_matter = {alert.matter: alert for alert in known.open}
    found = [*_over(known, occasion, by_matter), *_rising(known, occasion, by_matter)]
    return found + _overdue(known, occasion, by_matter.get((None, "", Rule.OVERDUE.value)), day)


def _over(known: KnownWeek, occasion: Occasion, by_matter: Mapping[Matter, OpenAlert]) -> Iterable[Change]:
    for row in known.results:
        matter = (row.facility_id, row.method, Rule.OVER.value)
        alert, now = by_matter.get(matter), over_week(row)
        if alert is None:
            # Counts that all came more than two weeks late open no alert about the past.
            if over.opens(now) and not row.late:
                yield Change(EventKind.OPENED, known.farm.id, matter, over_evidence(row))
        elif alert.opened_week == occasion.week and not over.opens(now):
            yield _close(alert, ClosedBecause.CORRECTED, over_evidence(row))
        elif over.closes([*(over_week(past) for past in _since(known, alert, row, occasion.week)), now]):
            yield _close(alert, ClosedBecause.BACK_BELOW, over_evidence(row))
        else:
            yield _stay(alert, over_evidence(row))


def _rising(known: KnownWeek, occasion: Occasion, by_matter: Mapping[Matter, OpenAlert]) -> Iterable[Change]:
    for row in known.results:
        matter = (None, row.method, Rule.RISING.value)
        if row.facility_id is not None:
            continue
        alert = by_matter.get(matter)
        if alert is None:
            if rising.opens(row.trend) and row.mean is not None and not row.late:
                yield Change(EventKind.OPENED, known.farm.id, matter, rising_evidence(row))
        elif alert.opened_week == occasion.week and not rising.opens(row.trend):
            yield _close(alert, ClosedBecause.CORRECTED, rising_evidence(row))
        elif row.mean is not None and rising.closes(_trends([*_since(known, alert, row, occasion.week), row])):
            yield _close(alert, ClosedBecause.NO_LONGER_RISING, rising_evidence(row))
        else:
            yield _stay(alert, rising_evidence(row))


def _overdue(known: KnownWeek, occasion: Occasion, alert: OpenAlert | None, day: date) -> list[Change]:
    late, evidence = overdue.opens(known.walks, day), overdue_evidence(known.walks, day)
    if alert is None:
        # Judged again because something arrived is no moment to say that nothing did.
        opened = Change(EventKind.OPENED, known.farm.id, (None, "", Rule.OVERDUE.value), evidence)
        return [opened] if late and not occasion.again else []
    if late:
        return [_stay(alert, evidence)]
    skipped = known.walks.skipped_to is not None
    return [_close(alert, ClosedBecause.SKIPPED_AHEAD if skipped else ClosedBecause.COUNTED_AGAIN, evidence)]


def over_week(row: Result | PastResult) -> over.Week:
    share = None if row.mean is None or row.level is None else row.mean / row.level
    return over.Week(row.result, share, row.at_least)


def over_evidence(row: Result) -> dict[str, Any]:
    """What an alert over the level rests on, so that its history can be read without the results."""
    return _place(row) | {
        "mean": row.mean,
        "low": row.low,
        "high": row.high,
        "at_least": row.at_least,
        "level": row.level,
        "level_of": row.level_of,
        "devices": row.devices,
    }


def rising_evidence(row: Result) -> dict[str, Any]:
    return _place(row) | {
        "mean": row.mean,
        "trend": row.trend,
        "growth": row.growth,
        "growth_low": row.growth_low,
        "growth_high": row.growth_high,
        "p_value": row.p_value,
        "weeks_observed": row.weeks_observed,
    }


def overdue_evidence(walks: Walks, day: date) -> dict[str, Any]:
    due = due_on(walks, day)
    return {
        "last_round": walks.last_round.isoformat() if walks.last_round else None,
        "due_on": due.isoformat() if due else None,
        "days": days_without(walks, day),
    }


def _place(row: Result) -> dict[str, Any]:
    return {"facility": str(row.facility_id) if row.facility_id else None, "method": row.method}


def _trends(rows: Iterable[PastResult | Result]) -> list[str]:
    """The trends of the counted weeks."""
    return [row.trend for row in rows if row.mean is not None]


def _since(known: KnownWeek, alert: OpenAlert, now: Result, week: date) -> list[PastResult]:
    """The results of an alert's place after its opening and before this week, oldest first."""
    place = (now.facility_id, now.method)
    rows = [row for row in known.history if (row.facility_id, row.method) == place]
    return sorted((row for row in rows if alert.opened_week < row.week < week), key=lambda row: row.week)


def _stay(alert: OpenAlert, evidence: Mapping[str, Any]) -> Change:
    return Change(EventKind.STAYED, alert.farm_id, alert.matter, evidence, alert)


def _close(alert: OpenAlert, because: ClosedBecause, evidence: Mapping[str, Any]) -> Change:
    return Change(EventKind.CLOSED, alert.farm_id, alert.matter, evidence, alert, because.value)


def by_farm(rows: Iterable[Row]) -> dict[UUID, list[Row]]:
    found: dict[UUID, list[Row]] = defaultdict(list)
    for row in rows:
        found[row.farm_id].append(row)
    return found
