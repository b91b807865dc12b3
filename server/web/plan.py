"""A farm's plan as its page shows it: the sheet with a mark for each station, what stands out, all of it as a table."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cached_property
from typing import TYPE_CHECKING, Any
from uuid import UUID

from django.urls import reverse
from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import gettext as _

from alerts.selectors import week_result
from alerts.selectors.station_effects import by_station, effects_of_stations
from alerts.selectors.stations_in_week import StationWeek, stations_in_week
from alerts.wording import question_text
from farms.clock import local_date, monday_of
from farms.selectors import facilities_of, season_on
from monitoring.charts.plan import HatchingMark, PlanWords, Sheet, StationMark, plan_drawing
from monitoring.methods import METHODS
from monitoring.rules.cells import FIRST_DAY
from monitoring.selectors import (
    HatchingPlace,
    hatching_findings,
    hatching_places,
    outlines_of,
    plan_of,
    spots_of,
    stations_of,
    summaries_of,
)
from server.web.choices import label_of
from server.web.walks import FindingLine, finding_lines
from server.web.words import level_name, method_name, rate, short_day, unit, week_of
from server.web.worst import Worst, worst_of

if TYPE_CHECKING:
    from farms.models import Facility, Farm
    from monitoring.models import Plan, Station

SIX_DAYS = timedelta(days=6)
SEASON = timedelta(weeks=26)  # where no season holds the week
PLAIN_SHEET = (1400, 1000)
Spot = tuple[float, float]


@dataclass(frozen=True)
class Ground:
    """What the stations stand on: the plan (None: none yet), where they are, and the farm's buildings by id."""

    farm: "Farm"
    plan: "Plan | None"
    spots: Mapping[UUID, Spot]
    facilities: "Mapping[UUID, Facility]"

    @property
    def sheet(self) -> Sheet:
        if self.plan is None:
            return Sheet(*PLAIN_SHEET)
        outlines = [(each.name or self._name(each.facility_id), each.points) for each in outlines_of(self.plan)]
        return Sheet(self.plan.width, self.plan.height, picture_address(self.plan), outlines)

    @property
    def without_outline(self) -> "list[Facility]":
        """Barns and lots that nobody drew, where the plan isn't a picture: there they may be seen."""
        drawn = {each.facility_id for each in outlines_of(self.plan)}
        return [each for each in self.facilities.values() if each.id not in drawn]

    def _name(self, facility_id: UUID | None) -> str:
        facility = self.facilities.get(facility_id) if facility_id else None
        return facility.name if facility else ""


@dataclass(frozen=True)
class PlanLine:
    """A station of the week: as a row of the table, and in words."""

    week: StationWeek
    facility: str
    spot: Spot | None
    percent: int | None = None
    question: str = ""
    worst: Worst | None = None

    @property
    def label(self) -> str:
        return str(METHODS[self.week.method].station_name).format(number=self.week.number)

    @property
    def count(self) -> str:
        told = rate(self.week.rate)
        return f"≥ {told}" if told and self.week.at_least else told

    @property
    def reason(self) -> str:
        """Why there is no count."""
        return str(label_of("monitoring.Reading", "reason", self.week.reason)) if self.week.reason else ""

    @property
    def told(self) -> str:
        """Card 4, Calf barn: 118, at or over (action level 100)."""
        where = f"{self.label}, {self.facility}"
        if self.week.rate is None:
            why = f" ({self.reason})" if self.reason else ""
            return f"{where}: {_('not counted')}{why}"
        if self.week.level is None:
            return f"{where}: {self.count}"
        return _("{where}: {count}, {word} (action level {level})").format(
            where=where, count=self.count, word=level_name(self.week.result), level=rate(self.week.level)
        )

    @property
    def mark(self) -> StationMark:
        x, y = self.spot or (0.0, 0.0)
        times = None if self.week.rate is None else self.week.rate / (self.week.level or self.week.rate or 1.0)
        # Where no level is set there is nothing to be below or over: an open ring of one size.
        level = "below" if self.week.result == "none" and self.week.rate is not None else self.week.result
        return StationMark(
            x, y, str(self.week.number), self.told, level=level, count=self.count, times=times,
            kept_out=self.week.kept_out,
        )  # fmt: skip


@dataclass(frozen=True)
class Hatching:
    """A place where flies hatch, as a photo of a round or a fly walk says it, and where that stands.

    `spot` is its place on the plan, None where nobody knows it.
    """

    told: str
    address: str
    spot: tuple[float, float] | None

    @property
    def mark(self) -> HatchingMark:
        x, y = self.spot or (0.0, 0.0)
        return HatchingMark(x, y, self.told)


@dataclass(frozen=True)
class PlanSeen:
    """The plan with one method's stations in one week (its Monday)."""

    ground: Ground
    method: str
    week: date
    counted: Mapping[str, Sequence[date]]
    lines: Sequence[PlanLine]
    hatching: Sequence[Hatching]

    @property
    def placed(self) -> list[PlanLine]:
        return [line for line in self.lines if line.spot]

    @property
    def unplaced(self) -> list[PlanLine]:
        return [line for line in self.lines if not line.spot]

    @property
    def hot(self) -> list[PlanLine]:
        """The stations that hold most of the week's catch, most first."""
        return sorted((line for line in self.lines if line.percent), key=lambda line: -(line.percent or 0))

    @property
    def weeks(self) -> Sequence[date]:
        """The weeks with counts by this method, newest first."""
        return self.counted.get(self.method, ())

    @property
    def earlier(self) -> date | None:
        return next((week for week in self.weeks if week < self.week), None)

    @property
    def later(self) -> date | None:
        return next((week for week in reversed(self.weeks) if week > self.week), None)

    @cached_property
    def drawings(self) -> dict[str, SafeString]:
        """In two widths."""
        counted = sum(line.week.rate is not None for line in self.placed)
        words = PlanWords(
            _("{what} on the plan, {week}").format(what=method_name(self.method).capitalize(), week=week_of(self.week)),
            _("{counted} of {shown} shown were counted. The table below has each of them.").format(
                counted=counted, shown=len(self.placed)
            ),
        )
        return drawn(
            self.ground.sheet,
            [line.mark for line in self.placed],
            words,
            [each.mark for each in self.hatching if each.spot],
        )


def drawn(
    sheet: Sheet, marks: Sequence[StationMark], words: PlanWords, hatching: Sequence[HatchingMark] = ()
) -> dict[str, SafeString]:
    """The plan for a page's width and a phone's."""
    shapes = ("wide", "narrow")
    return {
        shape: mark_safe(plan_drawing(sheet, marks, words, shape=shape, hatching=hatching))  # noqa: S308 - drawn by us, texts escaped
        for shape in shapes
    }


def ground_of(farm: "Farm", on: date | None = None) -> Ground:
    """The plan that holds, or held on a day; three queries."""
    facilities = {facility.id: facility for facility in facilities_of(farm)}
    return Ground(farm, plan_of(farm, on), spots_of(farm, on), facilities)


def plan_seen(farm: "Farm", asked: Mapping[str, str], today: date) -> PlanSeen:
    """The method and week that are asked for; else the first that was counted, and its last week with a count."""
    counted = weeks_counted(farm)
    method = asked.get("method", "")
    if method not in METHODS:
        method = next((code for code in METHODS if code in counted), next(iter(METHODS)))
    week = _week_asked(asked.get("week", ""), counted.get(method, ()), today)
    season = season_on(farm, week + SIX_DAYS)
    # A season that is over is seen on the plan of its time.
    ground = ground_of(farm, season.closes_on if season is not None else None)
    since = season.opens_on if season is not None else week - SEASON
    return PlanSeen(ground, method, week, counted, _lines(ground, method, week), _hatching(ground, since))


def _hatching(ground: Ground, since: date) -> list[Hatching]:
    """This season's, each at its own spot or at that of the station it is near."""
    farm = ground.farm
    photos = [
        Hatching(
            _told_of(farm, place), reverse("round", args=[farm.id, place.round_id]),
            place.spot or _near(ground, place.station),
        )
        for place in hatching_places(farm, since)
    ]  # fmt: skip
    lines = finding_lines(farm, hatching_findings(farm, since), since)
    return photos + [Hatching(_told_of_walk(line), *_where(ground, line.row)) for line in lines]


def _where(ground: Ground, row: Any) -> tuple[str, Spot | None]:
    """The page of a finding, and its spot."""
    spot = _near(ground, row.station) if row.x is None else (row.x, row.y)
    return reverse("finding", args=[ground.farm.id, row.known]), spot


def _told_of_walk(line: FindingLine) -> str:
    return _("{where}: {what}, fly walk of {day}").format(
        where=line.where, what=line.seen, day=short_day(line.row.seen_on)
    )


def _near(ground: Ground, station: "Station | None") -> tuple[float, float] | None:
    return ground.spots.get(station.id) if station else None


def _told_of(farm: "Farm", place: HatchingPlace) -> str:
    where = [*([place.station.label] if place.station else []), *([place.facility.name] if place.facility else [])]
    day = short_day(local_date(place.seen_at, farm.time_zone))
    if not where:
        return _("Flies hatch here: photo of {day}").format(day=day)
    return _("Flies hatch here: photo of {day}, {where}").format(day=day, where=", ".join(where))


def plates(ground: Ground, today: date) -> dict[str, SafeString]:
    """The plan with the stations' names alone: for whoever counts, and before the first count."""
    marks = [
        StationMark(*ground.spots[station.id], station.label, f"{station.label}, {station.facility.name}")
        for station in stations_of(ground.farm, today)
        if station.id in ground.spots
    ]
    told = _("Where the cards, traps and leg counts are.")
    return drawn(ground.sheet, marks, PlanWords(_("Plan of {farm}").format(farm=ground.farm.name), told))


def weeks_counted(farm: "Farm") -> dict[str, list[date]]:
    """By method the weeks (their Mondays) with a count, newest first; methods in their usual order."""
    found: dict[str, list[date]] = {}
    for method, week in summaries_of(farm).filter(devices__gt=0).values_list("method", "week"):
        found.setdefault(method, []).insert(0, week)
    return {method: found[method] for method in METHODS if method in found}


def picture_address(plan: "Plan") -> str:
    return reverse("plan_picture", args=[plan.farm_id, plan.picture_id]) if plan.picture_id else ""


def unit_told(method: str) -> str:
    """Specks a card in 7 days; flies an animal."""
    return _("%(unit)s in 7 days") % {"unit": unit(method)} if METHODS[method].hangs else unit(method)


def _week_asked(asked: str, counted: Sequence[date], today: date) -> date:
    """The week of a day that is asked for, where it was; else the last one with a count, or this one."""
    try:
        day = date.fromisoformat(asked)
    except ValueError:
        day = date.max
    if FIRST_DAY <= day <= today:
        return monday_of(day)
    return counted[0] if counted else monday_of(today)


def _lines(ground: Ground, method: str, week: date) -> list[PlanLine]:
    places = _held(ground.farm, method, week)
    worst = worst_of(by_station(effects_of_stations([ground.farm], week)[ground.farm.id]))
    order = {facility_id: place for place, facility_id in enumerate(ground.facilities)}
    found = [each for each in stations_in_week(ground.farm, week) if each.method == method]
    return [
        PlanLine(
            each,
            ground.facilities[each.facility_id].name,
            ground.spots.get(each.station_id),
            *_share(places.get(str(each.station_id))),
            worst=worst.get(each.station_id),
        )
        for each in sorted(found, key=lambda each: (order[each.facility_id], each.number))
    ]


def _held(farm: "Farm", method: str, week: date) -> dict[str, Any]:
    """What the weekly check said of the stations that hold most of the farm's catch, by station."""
    rows = [row for row in week_result(farm, week) if row.facility_id is None and row.method == method]
    return {place["station"]: place for row in rows for place in row.evidence.get("places", ())}


def _share(place: dict[str, Any] | None) -> tuple[int | None, str]:
    return (round(100 * place["share"]), question_text(place["question"])) if place else (None, "")
