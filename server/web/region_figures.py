"""A region's season in pictures and as a table, and what is known of a reader's own farms beside it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING
from uuid import UUID

from django.utils.safestring import SafeString, mark_safe

from alerts.delivery.region_chart import mean_chart, normal_chart
from alerts.delivery.region_sentences import rising_lines
from alerts.selectors.region_seasons import RegionSeason
from alerts.selectors.results import WeekMean, means_of_farms
from alerts.wording.region_seasons import season_sentences
from alerts.wording.regions import growth_words
from alerts.wording.results import heading
from monitoring.methods import METHODS
from monitoring.selectors import places_of_farms

if TYPE_CHECKING:
    from farms.models import Farm, Region
    from monitoring.models import RegionReport


@dataclass(frozen=True)
class Drawn:
    """One picture in two widths, with its title."""

    title: str
    wide: SafeString
    narrow: SafeString


@dataclass(frozen=True)
class RegionFigure:
    """One method's season: two pictures (None where no week is told in numbers), and a row a week, newest first."""

    method: str
    normal: Drawn | None
    mean: Drawn | None
    weeks: "tuple[tuple[date, RegionReport | None], ...]"


@dataclass(frozen=True)
class SeasonFigure:
    """One method of a past season: its picture (None where no week is told in numbers), sentences, a row a week."""

    method: str
    normal: Drawn | None
    sentences: tuple[str, ...]
    weeks: "tuple[tuple[date, RegionReport | None], ...]"


@dataclass(frozen=True)
class OwnLine:
    """One method of a farm that the reader may see, of the region's week: its own result, and its third."""

    method: str
    result: WeekMean | None
    third: int | None


def region_figures(season: RegionSeason) -> list[RegionFigure]:
    return [_figure(season, method) for method in season.methods]


def _figure(season: RegionSeason, method: str) -> RegionFigure:
    rows = tuple(season.by_week(method)[::-1])
    if not season.tells_numbers(method):
        return RegionFigure(method, None, None, rows)
    return RegionFigure(method, _normal(season, method), _drawn(season, method, mean_chart), rows)


def _normal(season: RegionSeason, method: str) -> Drawn | None:
    return _drawn(season, method, normal_chart) if season.tells_normal(method) else None


def _drawn(season: RegionSeason, method: str, chart: object) -> Drawn:
    wide, words = chart(season, method, "wide")  # type: ignore[operator]
    narrow, _words = chart(season, method, "narrow")  # type: ignore[operator]
    return Drawn(words.title, mark_safe(wide), mark_safe(narrow))  # noqa: S308 - drawn by us, texts escaped


def rising_where(
    season: RegionSeason,
    region: "Region",
    others: "Sequence[Region]",
    reports: "Mapping[tuple[UUID, str], RegionReport]",
) -> list[tuple[str, list[tuple[str, str]]]]:
    """By place: this region (with its housings, where it is split), then the group's others by name."""
    found = [(region.name, list(rising_lines(season)))]
    for other in others:
        lines = [(heading(method), growth_words(reports.get((other.id, method)))) for method in season.methods]
        found.append((other.name, lines))
    return found


def own_lines(farms: "Sequence[Farm]", season: RegionSeason) -> "list[tuple[Farm, list[OwnLine]]]":
    """The reader's farms in the region with the region's week of each: two queries, none where there is no farm.

    A third is told of a method only where the region's report of that week tells numbers.
    """
    if not farms or season.week is None:
        return []
    ids = [farm.id for farm in farms]
    means = means_of_farms(ids, season.week, season.week)
    results = {(row.farm_id, row.method): row for row in means if row.facility_id is None}
    thirds = {(place.farm_id, place.method): place.third for place in places_of_farms(ids, season.week)}
    return [(farm, [_own(farm.id, method, results, thirds, season) for method in season.methods]) for farm in farms]


def _own(
    farm_id: UUID,
    method: str,
    results: Mapping[tuple[UUID, str], WeekMean],
    thirds: Mapping[tuple[UUID, str], int],
    season: RegionSeason,
) -> OwnLine:
    report = season.now(method)
    third = thirds.get((farm_id, method)) if report is not None and report.disclosure == "numbers" else None
    return OwnLine(METHODS[method].code, results.get((farm_id, method)), third)


def season_figures_of(season: RegionSeason) -> "list[SeasonFigure]":
    """A past season, method by method: its sentences, and how far from their own normal the farms were."""
    return [_season_figure(season, method) for method in season.methods]


def _season_figure(season: RegionSeason, method: str) -> "SeasonFigure":
    weeks = season.by_week(method)
    return SeasonFigure(method, _normal(season, method), tuple(season_sentences(weeks)), tuple(weeks))
