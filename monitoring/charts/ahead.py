"""The weeks to come: a forecast's bands within each other, its median in dashes, beyond a line that ends the counts."""

from monitoring.charts.layout import Plot
from monitoring.charts.svg import element, hairline, points, worded

_INNER = {"fill_opacity": 1.0}
_OUTER = {"fill_opacity": 0.5, "stroke_width": 0.8, "stroke_dasharray": "1 2"}


def draw_ahead(plot: Plot) -> str:
    """Nothing where there is no forecast."""
    if not plot.series.ahead:
        return ""
    bands = range(len(plot.series.ahead[0].bands))
    return "".join(_band(plot, number) for number in bands) + _begins(plot) + _median(plot)


def _band(plot: Plot, number: int) -> str:
    ends = [week.bands[number] for week in plot.series.ahead]
    first, half = plot.series.n_weeks, 0.36
    # A week to come is as wide as a week: the bands reach beyond their points at either end.
    places = [first - half, *(first + index for index in range(len(ends))), first + len(ends) - 1 + half]
    widened = [ends[0], *ends, ends[-1]]
    upper = [(plot.weeks.x(place), plot.values.y(high)) for place, (_low, high) in zip(places, widened, strict=True)]
    lower = [(plot.weeks.x(place), plot.values.y(low)) for place, (low, _high) in zip(places, widened, strict=True)]
    look = _OUTER | {"stroke": plot.palette.soft} if number == 0 else _INNER
    name = "fan wide" if number == 0 else "fan"
    return element("polygon", class_=name, points=points(upper + lower[::-1]), fill=plot.palette.band, **look)


def _begins(plot: Plot) -> str:
    """The line that ends the counted weeks, and what stands beyond it."""
    x = hairline(plot.weeks.edge(plot.series.n_weeks))
    ends = {"x1": x, "x2": x, "y1": plot.values.top - 4, "y2": plot.values.bottom}
    line = element("line", class_="tick", **ends, stroke=plot.palette.soft, stroke_width=1)
    place = {"x": plot.weeks.right, "y": plot.sheet.letters, "text_anchor": "end"}
    return line + worded("text", plot.words.to_come, class_="soft-text", **place, fill=plot.palette.soft)


def _median(plot: Plot) -> str:
    first, last = plot.series.n_weeks, plot.series.means[-1]
    path = [] if last is None else [(plot.weeks.x(first - 1), plot.values.y(last))]
    path += [(plot.weeks.x(first + at), plot.values.y(week.median)) for at, week in enumerate(plot.series.ahead)]
    look = {"stroke": plot.palette.ink, "stroke_width": 1.4, "stroke_dasharray": "4 3"}
    return element("polyline", class_="median", points=points(path), fill="none", **look)
