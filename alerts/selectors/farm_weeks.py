"""A farm's week as it is told: this week's results, the weeks before, what is open, what was done, what is due."""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from itertools import pairwise
from typing import TYPE_CHECKING, Any
from uuid import UUID

from alerts.models import Alert, Assessment, CheckFailure
from alerts.models.alert import WAITS_FOR_VISITS, Rule
from alerts.models.assessment import LevelWord, TrendWord
from alerts.rounds import Walks, days_without, due_on
from alerts.selectors.alerts import deeds_done, evidence_of_openings
from alerts.selectors.results import WeekMean, assessments_of_farms, means_of_farms
from alerts.selectors.rounds import seasons_by_farm, walks_of_farms
from farms.closures import closed_farms
from farms.lookups import array_of
from farms.selectors import facilities_of_farms
from monitoring.methods import METHODS
from monitoring.selectors import development_of_farms, last_done

if TYPE_CHECKING:
    from alerts.selectors.rounds_since import RoundSince
    from alerts.selectors.station_effects import StationEffect
    from farms.models import Facility, Farm
    from monitoring.selectors import Done, FarmDevelopment
    from monitoring.selectors.planned_work import PlannedDay
    from monitoring.selectors.work_effects import WorkEffect

Place = tuple[UUID | None, str]
WEEKS_TOLD = 8
OLDEST = ("opened_week", "id")
WEEK = timedelta(days=7)


@dataclass(frozen=True)
class FarmWeek:
    """One farm's week (its Monday), seen from a day after it.

    `farm_rows` maps a method to this week's result; `facility_rows` are the facilities' in walking order; `series` maps
    a place (facility or None for the farm, method) to its figures of the last eight weeks, None where there is none.
    `listed` are the methods in which the group's list names the farm as rising; only an adviser's list has it.
    `alerts` are the open ones, each with what somebody did about it (`deeds_done`); `evidence` is what those rest on
    that opened with this week. `work` is the last one noted; `work_effect`, what became of the counts since, and
    `stations`, how each stands beside the farm's others, are there where somebody asked for them; so is `since`, a
    round that the check has not seen, and `planned_due` and `planned_ahead`, what is planned. `closed`: to visits, on
    that day.
    """

    farm: "Farm"
    week: date
    day: date
    farm_rows: Mapping[str, Assessment] = field(default_factory=dict)
    facility_rows: Sequence[Assessment] = ()
    series: Mapping[Place, Sequence[WeekMean | None]] = field(default_factory=dict)
    facilities: Mapping[UUID, "Facility"] = field(default_factory=dict)
    alerts: Sequence[Any] = ()
    evidence: Mapping[UUID, Mapping[str, Any]] = field(default_factory=dict)
    work: "Done | None" = None
    work_effect: "WorkEffect | None" = None
    planned_due: "tuple[PlannedDay, ...]" = ()
    planned_ahead: "tuple[PlannedDay, ...]" = ()
    walks: Walks = field(default_factory=lambda: Walks((), None))
    failed: bool = False
    listed: Collection[str] = ()
    development: "FarmDevelopment | None" = None
    stations: "Mapping[UUID, StationEffect]" = field(default_factory=dict)
    since: "RoundSince | None" = None
    closed: bool = False

    @property
    def over(self) -> list[Assessment]:
        """What is over its level this week: facilities first, then the whole farm, each by how far over it is."""
        rows = [row for row in (*self.facility_rows, *self.farm_rows.values()) if row.result == LevelWord.OVER]
        return sorted(rows, key=lambda row: (row.facility_id is None, -share_of_level(row)))

    @property
    def rising(self) -> list[Assessment]:
        return [row for row in self.farm_rows.values() if row.trend == TrendWord.RISING and row.mean is not None]

    @property
    def first_week(self) -> date:
        """The first of the weeks that are told."""
        return self.week - (WEEKS_TOLD - 1) * WEEK

    def waits(self, alert: Alert) -> bool:
        """Whether an open alert waits: it asks for a visit and the farm takes no visitors, or for a round while a label
        keeps everybody out.
        """
        kept_out = alert.rule == Rule.OVERDUE and self.day in self.walks.kept_out
        return kept_out or (self.closed and alert.rule in WAITS_FOR_VISITS)

    @property
    def asking(self) -> list[Any]:
        """The open alerts that don't wait."""
        return [alert for alert in self.alerts if not self.waits(alert)]

    @property
    def is_overdue(self) -> bool:
        return any(alert.rule == Rule.OVERDUE for alert in self.asking)

    @property
    def needs_a_look(self) -> bool:
        """Whether something is over its level, rising, or overdue: a reader may want mails of such weeks only."""
        return bool(self.over or self.rising or self.is_overdue)

    @property
    def put_off_to(self) -> date | None:
        """The day to which everything that is over its level was put off, seen from `day`; None where it wasn't."""
        over = [alert for alert in self.alerts if alert.rule == Rule.OVER]
        days = [day for alert in over if (day := getattr(alert, "later_until", None)) and day > self.day]
        return min(days) if days and len(days) == len(over) else None

    @property
    def due_on(self) -> date | None:
        return due_on(self.walks, self.day)

    @property
    def days_without(self) -> int | None:
        return days_without(self.walks, self.day)

    def before(self, method: str) -> WeekMean | None:
        """The last counted result of the farm before this week."""
        earlier = [row for row in self.series[None, method][:-1] if row is not None and row.mean is not None]
        return earlier[-1] if earlier else None

    def weeks_up(self, method: str) -> int:
        """How many counted weeks running, up to this one, the farm's mean was higher than the counted week before."""
        means = [row.mean for row in self.series[None, method] if row is not None and row.mean is not None]
        if self.farm_rows[method].mean is None:
            return 0
        steps = [later > earlier for earlier, later in pairwise(means)]
        return next((number for number, up in enumerate(reversed(steps)) if not up), len(steps))

    def only_place(self, row: Assessment) -> bool:
        """Whether a facility is the only one where its method is used, so that the farm's row says the same."""
        return sum(other.method == row.method for other in self.facility_rows) == 1


def share_of_level(row: Assessment) -> float:
    """Mean over action level; 0 where either is missing."""
    return row.mean / row.level if row.mean is not None and row.level else 0.0


def weeks_of_farms(farms: Sequence["Farm"], week: date, day: date) -> list[FarmWeek]:
    """The week of each farm, seen from a day after it; sixteen queries at most, however many farms."""
    farm_ids, developed = [farm.id for farm in farms], development_of_farms(farms, day)
    results = assessments_of_farms(farm_ids, week, week)
    means = means_of_farms(farm_ids, week - (WEEKS_TOLD - 1) * WEEK, week)
    weeks = _weeks(farms, (week, day), results, means)
    return [replace(each, development=developed[each.farm.id]) for each in weeks]


def weeks_in_short(farms: Sequence["Farm"], week: date, day: date) -> list[FarmWeek]:
    """The same as far as a line of a list tells it: without the flies' development, and with the weeks before of whole
    farms and of what is over its level only.
    """
    farm_ids = [farm.id for farm in farms]
    results = assessments_of_farms(farm_ids, week, week, in_short=True)
    over = {row.facility_id for row in results if row.facility_id and row.result == LevelWord.OVER}
    means = means_of_farms(farm_ids, week - (WEEKS_TOLD - 1) * WEEK, week, over)
    return _weeks(farms, (week, day), results, means)


def _weeks(
    farms: Sequence["Farm"], when: tuple[date, date], found: Iterable[Assessment], past: Iterable[WeekMean]
) -> list[FarmWeek]:
    """`when`: the week, and the day from which it is seen."""
    (week, day), farm_ids = when, [farm.id for farm in farms]
    results, means = _by_farm(found), _by_farm(past)
    open_ones = list(Alert.objects.filter(farm_id__any_of=array_of(farm_ids), closed_at__isnull=True).order_by(*OLDEST))
    deeds_done(open_ones)
    alerts, evidence = _by_farm(open_ones), evidence_of_openings(farm_ids, week)
    facilities = _by_farm(facilities_of_farms(farm_ids))
    works, walks = last_done(farm_ids, day), walks_of_farms(seasons_by_farm(farm_ids), day)
    failures = CheckFailure.objects.filter(farm_id__in=farm_ids, week=week, solved_at__isnull=True)
    failed, closed = set(failures.values_list("farm_id", flat=True)), closed_farms(farms, day)
    return [
        FarmWeek(
            farm=farm, week=week, day=day, facilities={place.id: place for place in facilities[farm.id]},
            alerts=alerts[farm.id], evidence=evidence, work=works.get(farm.id), walks=walks[farm.id],
            failed=farm.id in failed, closed=farm.id in closed,
            **_told(results[farm.id], means[farm.id], facilities[farm.id], week),
        )
        for farm in farms
    ]  # fmt: skip


def _told(
    now: Sequence[Assessment], means: Sequence[WeekMean], facilities: Sequence["Facility"], week: date
) -> dict[str, Any]:
    order = {place.id: number for number, place in enumerate(facilities)}
    of_farm = {row.method: row for row in now if row.facility_id is None}
    of_places = [row for row in now if row.facility_id is not None]
    return {
        "farm_rows": {method: of_farm[method] for method in METHODS if method in of_farm},
        "facility_rows": sorted(of_places, key=lambda row: (order[row.facility_id], row.method)),
        "series": _series([place_of(row) for row in now], means, week),
    }


def place_of(row: Assessment | WeekMean) -> Place:
    return row.facility_id, row.method


def _series(places: Sequence[Place], means: Sequence[WeekMean], week: date) -> dict[Place, list[WeekMean | None]]:
    known = {(place_of(row), row.week): row for row in means}
    weeks = [week - back * WEEK for back in range(WEEKS_TOLD - 1, -1, -1)]
    return {place: [known.get((place, each)) for each in weeks] for place in places}


def _by_farm(rows: Iterable[Any]) -> dict[UUID, list[Any]]:
    found: dict[UUID, list[Any]] = defaultdict(list)
    for row in rows:
        found[row.farm_id].append(row)
    return found
