"""A region's season as a picture: how far from its own normal, or the mean, with the usual band. No dot a farm."""

from typing import TYPE_CHECKING

from django.utils.formats import number_format
from django.utils.translation import gettext as _

from alerts.wording.numbers import amount, day_label
from alerts.wording.regions import LEVELS, NOT_TOLD, ratio
from alerts.wording.results import heading
from monitoring.charts import LIGHT, ChartWords, Palette, SeasonSeries, season_chart
from monitoring.charts.layout import Shape
from monitoring.methods import METHODS

if TYPE_CHECKING:
    from alerts.selectors.region_seasons import RegionSeason
    from monitoring.models import RegionReport

OWN_NORMAL = 1.0


def normal_chart(
    season: "RegionSeason", method: str, shape: Shape, palette: Palette = LIGHT
) -> "tuple[str, ChartWords]":
    """How far from their own normal the farms were, week by week, with the usual band of the time of the year."""
    rows = season.series(method)
    title = _("{what}: how far from their own normal").format(what=heading(method))
    told = "; ".join(f"{day_label(week)}: {_ratio_of(row)}" for week, row in zip(season.weeks, rows, strict=True))
    words = ChartWords(
        title=title,
        description=f"{told}.",
        unit=_("{what}: times the own normal").format(what=heading(method)),
        action_level=_("own normal"),
        no_counts=_("No week is told in numbers yet."),
        date_label=day_label,
        number=_tick,
    )
    lows, highs = _both(rows, "usual_normal_low", "usual_normal_high")
    series = SeasonSeries(
        key=f"{method}-normal",
        first_week=season.weeks[0],
        means=[row.normal if row else None for row in rows],
        lows=lows,
        highs=highs,
        action_level=OWN_NORMAL,
    )
    return season_chart(series, words=words, shape=shape, palette=palette), words


def mean_chart(season: "RegionSeason", method: str, shape: Shape, palette: Palette = LIGHT) -> "tuple[str, ChartWords]":
    """The mean of those who counted, with the group's action level and the usual band of the time of the year."""
    rows = season.series(method)
    title = _("{what}: the mean").format(what=heading(method))
    told = "; ".join(f"{day_label(week)}: {_mean_of(row)}" for week, row in zip(season.weeks, rows, strict=True))
    words = ChartWords(
        title=title,
        description=f"{told}.",
        unit=str(METHODS[method].unit),
        action_level=_("action level"),
        no_counts=_("No week is told in numbers yet."),
        date_label=day_label,
        number=amount,
    )
    lows, highs = _both(rows, "usual_low", "usual_high")
    series = SeasonSeries(
        key=f"{method}-mean",
        first_week=season.weeks[0],
        means=[row.mean if row else None for row in rows],
        lows=lows,
        highs=highs,
        levels=[LEVELS.get(row.word) if row and row.mean is not None else None for row in rows],  # type: ignore[misc]
        action_level=[row.level if row else None for row in rows],
    )
    return season_chart(series, words=words, shape=shape, palette=palette), words


def _tick(value: float) -> str:
    """1; 0.5; 1.3: whole numbers without a decimal."""
    return number_format(int(value), 0) if value == int(value) else ratio(value)


def _both(rows: "list[RegionReport | None]", low: str, high: str) -> tuple[list[float | None], list[float | None]]:
    """Both ends of each week's band, or neither."""
    ends = [(getattr(row, low), getattr(row, high)) if row else (None, None) for row in rows]
    whole = [pair if None not in pair else (None, None) for pair in ends]
    return [pair[0] for pair in whole], [pair[1] for pair in whole]


def _ratio_of(row: "RegionReport | None") -> str:
    return str(NOT_TOLD) if row is None or row.normal is None else ratio(row.normal)


def _mean_of(row: "RegionReport | None") -> str:
    return str(NOT_TOLD) if row is None or row.mean is None else amount(row.mean)
