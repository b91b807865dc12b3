"""Every card, trap and leg count with its season, small, in walking order: the pictures and what their table says."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import groupby
from typing import TYPE_CHECKING

from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import gettext as _

from alerts.selectors.station_weeks import StationSeason
from farms.kept import kept
from monitoring.charts import StationAxis, station_chart
from monitoring.methods import METHODS
from server.web.words import method_name, rate, unit, week_of

if TYPE_CHECKING:
    from monitoring.models import Station

IN_TABLE = 8


@dataclass(frozen=True)
class StationShown:
    """One station: its picture, its last rate with the week's Monday (None: not counted), and the table's last weeks.

    Every value is a text in the reader's form, "" for not counted.
    """

    station: "Station"
    picture: SafeString
    last: str
    last_week: date | None
    last_weeks: tuple[str, ...]


@dataclass(frozen=True)
class BuildingShown:
    """A building's stations, in walking order."""

    name: str
    stations: tuple[StationShown, ...]


@dataclass(frozen=True)
class StationsShown:
    """All of them. `scales` says for each method what its pictures have in common; `columns` are the table's weeks."""

    buildings: tuple[BuildingShown, ...]
    scales: tuple[str, ...]
    columns: tuple[date, ...]
    told: str


def stations_shown(
    mondays: Sequence[date], seasons: Sequence[StationSeason], levels: Mapping[str, float | None]
) -> StationsShown:
    """`levels`: the farm's action level of each method. Weeks before the first that was counted are not drawn."""
    first = _first_counted(seasons)
    seasons = [StationSeason(each.station, each.rates[first:], each.at_least[first:]) for each in seasons]
    weeks = list(mondays[first:])
    axes = {
        method: StationAxis.of([each.rates for each in seasons if each.station.method == method], levels.get(method))
        for method in METHODS
        if any(each.station.method == method for each in seasons)
    }
    buildings = [
        BuildingShown(name, tuple(_station(each, weeks, axes[each.station.method]) for each in some))
        for name, some in groupby(seasons, key=lambda each: each.station.facility.name)
    ]
    told = _("From the %(first)s to the %(last)s.") % {"first": week_of(weeks[0]), "last": week_of(weeks[-1])}
    scales = tuple(_scale(method, axis) for method, axis in axes.items())
    return StationsShown(tuple(buildings), scales, tuple(weeks[-IN_TABLE:]), told)


def _first_counted(seasons: Sequence[StationSeason]) -> int:
    """The first week in which any was counted; the last where none was."""
    counted = [at for each in seasons for at, value in enumerate(each.rates) if value is not None]
    return min(counted, default=max((len(each.rates) for each in seasons), default=1) - 1)


def _station(season: StationSeason, weeks: Sequence[date], axis: StationAxis) -> StationShown:
    last = next((at for at in range(len(weeks) - 1, -1, -1) if season.rates[at] is not None), None)
    in_table = zip(season.rates[-IN_TABLE:], season.at_least[-IN_TABLE:], strict=True)
    return StationShown(
        station=season.station,
        picture=mark_safe(kept(("station", season.rates, axis), lambda: station_chart(season.rates, axis))),  # noqa: S308 - drawn by us, numbers only
        last="" if last is None else _told(season.rates[last], season.at_least[last]),
        last_week=None if last is None else weeks[last],
        last_weeks=tuple(_told(value, bound) for value, bound in in_table),
    )


def _told(value: float | None, bound: object) -> str:
    return "" if value is None else f"≥ {rate(value)}" if bound else rate(value)


def _scale(method: str, axis: StationAxis) -> str:
    """Spot cards: all from 0 to 400 specks a card; the dashes are the action level, 100."""
    told = {"what": method_name(method).capitalize(), "top": rate(axis.top), "unit": unit(method)}
    if axis.level is None:
        return _("%(what)s: all on one scale, from 0 to %(top)s %(unit)s.") % told
    words = _("%(what)s: all on one scale, from 0 to %(top)s %(unit)s; the dashes are the action level, %(level)s.")
    return words % (told | {"level": rate(axis.level)})
