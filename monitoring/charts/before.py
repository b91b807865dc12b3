"""The same weeks of the year before: a thin soft line behind, with its year; gaps are gaps."""

from monitoring.charts.layout import Plot
from monitoring.charts.rule import Place, covered
from monitoring.charts.runs import runs
from monitoring.charts.svg import element, points, text_width, worded


def draw_before(plot: Plot) -> str:
    return "".join(_run(plot, run) for run in runs(plot.series.before))


def draw_before_name(plot: Plot) -> str:
    """The year, above the point of its line where it covers least."""
    places = [_place(plot, index, value) for index, value in enumerate(plot.series.before) if value is not None]
    if not places:
        return ""
    place = min(places, key=lambda box: _covers(plot, box))
    at = {"x": (place.left + place.right) / 2, "y": place.bottom - 4, "text_anchor": "middle"}
    name = plot.series.before_name
    return worded("text", name, class_="soft-text halo", **at, fill=plot.palette.soft, **plot.halo)


def _run(plot: Plot, run: range) -> str:
    path = [(plot.weeks.x(index), plot.values.y(plot.series.before[index] or 0.0)) for index in run]
    if len(path) == 1:
        return element("circle", class_="before-dot", cx=path[0][0], cy=path[0][1], r=1.5, fill=plot.palette.soft)
    look = {"stroke": plot.palette.soft, "stroke_width": 1.0, "stroke_linejoin": "round"}
    return element("polyline", class_="before", points=points(path), fill="none", **look)


def _place(plot: Plot, index: int, value: float) -> Place:
    half = text_width(plot.series.before_name, plot.sheet.letters) / 2
    x = max(plot.weeks.left + half, min(plot.weeks.x(index), plot.weeks.right - half))
    y = plot.values.y(value)
    return Place(x - half, x + half, y - plot.sheet.letters * 1.4, y)


def _covers(plot: Plot, box: Place) -> float:
    """What the weeks lose, and more where an action level's label may stand."""
    rules = [plot.values.y(level) for level in plot.series.action_levels if level is not None]
    reach = plot.sheet.letters * 1.4
    near_rule = any(box.top - reach < y < box.bottom + reach for y in set(rules))
    # The last week's own number stands there, and the line that ends the counted weeks.
    newest = plot.series.n_weeks - 1
    near_last = box.right > plot.weeks.x(newest) - 3 * reach and box.left < plot.weeks.edge(newest + 1) + 4
    beyond = box.top < plot.values.top - 2
    return covered(plot, box) + 2.5 * near_rule + 6.0 * near_last + 9.0 * beyond
