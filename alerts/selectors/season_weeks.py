"""A farm's weeks over its seasons, as charts show them: results, matters that began, and how sure a forecast is."""

from datetime import date, timedelta
from typing import TYPE_CHECKING, Any, NamedTuple

from scipy import special

from alerts.models import Alert, Assessment
from alerts.selectors.borrowed import figures_named
from alerts.selectors.results import latest
from farms.selectors import seasons_of
from monitoring.analysis.correlated_weeks import PRINTED

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from alerts.models import BorrowedFigures
    from farms.models import Farm

WEEK = timedelta(weeks=1)
# The band within the stored one, which holds eight weeks in ten.
OUTER, INNER = 0.8, 0.5


class SeasonWeek(NamedTuple):
    """The whole farm's result of a week and method."""

    method: str
    week: date
    mean: float | None
    low: float | None
    high: float | None
    at_least: bool
    level: float | None
    result: str
    devices: int
    missing: int


class Began(NamedTuple):
    """A matter that began with a week; without a method it is about the rounds."""

    week: date
    method: str
    rule: str


class FanWeek(NamedTuple):
    """What a week to come may bring: the median, and the bands that hold five and eight weeks in ten."""

    weeks: int
    low: float
    inner_low: float
    median: float
    inner_high: float
    high: float


def season_weeks_of(farm: "Farm", since: date, until: date) -> dict[str, dict[date, SeasonWeek]]:
    """By method and Monday what was concluded for the whole farm; one query, however many seasons."""
    rows = Assessment.objects.filter(farm_id=farm.id, facility_id__isnull=True, week__range=(since, until))
    found: dict[str, dict[date, SeasonWeek]] = {}
    for row in latest(rows).values_list(*SeasonWeek._fields):
        told = SeasonWeek(*row)
        found.setdefault(told.method, {})[told.week] = told
    return found


def matters_begun(farm: "Farm", since: date, until: date) -> list[Began]:
    """What began, or began again, in these weeks, oldest first."""
    rows = Alert.objects.filter(farm_id=farm.id).values_list("opened_week", "reopened_week", "method", "rule")
    began = [Began(week, row[2], row[3]) for row in rows for week in row[:2] if week is not None]
    return sorted(each for each in set(began) if since <= each.week <= until)


def season_starts(farm: "Farm") -> list[date]:
    """When the farm's seasons opened, newest first."""
    return list(seasons_of(farm).values_list("opens_on", flat=True))


def fans_of(
    farm: "Farm", results: "Mapping[str, Assessment]", known: "Iterable[BorrowedFigures | None]" = ()
) -> "dict[str, tuple[FanWeek, ...]]":
    """By method the weeks ahead as the week's results have them; a method of which nothing can be said is not in it.

    What is stored is the median and the ends of the band that holds eight weeks in ten, of a t distribution of the log.
    The narrower band is the same distribution's: its degrees are those of the farm's own weeks and of what it borrows.
    `known`: figures of the group that were read already.
    """
    told = {method: row for method, row in results.items() if row.outlook.get("ahead")}
    names = [(method, row.borrowed) for method, row in told.items() if row.borrowed]
    lent = figures_named(farm.group_id, names, known)
    return {method: _fan(row, lent.get((method, row.borrowed))) for method, row in told.items()}


def _fan(row: Assessment, lent: Any) -> tuple[FanWeek, ...]:
    scatter = lent.scatter if lent is not None else PRINTED
    degrees = max(row.weeks_observed - 1, 1) + scatter.degrees_of_a_forecast
    inside = special.stdtrit(degrees, (1 + INNER) / 2) / special.stdtrit(degrees, (1 + OUTER) / 2)
    return tuple(_week_ahead(each, float(inside)) for each in row.outlook["ahead"])


def _week_ahead(told: "Mapping[str, float]", inside: float) -> FanWeek:
    """`inside`: how far the narrower band reaches, in logs, as a share of the wider one."""
    low, median, high = told["low"], told["median"], told["high"]
    inner = [median * (end / median) ** inside if median > 0 else end for end in (low, high)]
    return FanWeek(int(told["weeks"]), low, inner[0], median, inner[1], high)
