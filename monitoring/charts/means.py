"""Weekly means as points on a line, and their intervals as a band; neither crosses a gap."""

from monitoring.charts.layout import Plot
from monitoring.charts.marks import ring
from monitoring.charts.runs import runs
from monitoring.charts.svg import element, number, points


def draw_intervals(plot: Plot) -> str:
    bands = "".join(_band(plot, run) for run in runs(plot.series.highs))
    return bands + "".join(_goes_on(plot, index) for index in _beyond(plot))


def draw_means(plot: Plot) -> str:
    """Where weeks stand too close for rings, only those over the level and the last keep theirs."""
    lines = "".join(draw_line(plot, run) for run in runs(plot.series.means) if len(run) > 1)
    return lines + "".join(_point(plot, index) for index in range(plot.series.n_weeks))


def _band(plot: Plot, run: range) -> str:
    lows, highs = plot.series.lows, plot.series.highs
    if len(run) == 1:
        return _bar(plot, run.start)
    upper = [(plot.weeks.x(index), plot.values.y(highs[index] or 0.0)) for index in run]
    lower = [(plot.weeks.x(index), plot.values.y(lows[index] or 0.0)) for index in reversed(run)]
    return element("polygon", class_="band", points=points(upper + lower), fill=plot.palette.band)


def _bar(plot: Plot, index: int) -> str:
    high = plot.values.y(plot.series.highs[index] or 0.0)
    low = plot.values.y(plot.series.lows[index] or 0.0)
    width = min(plot.weeks.slot * 0.6, 12.0)
    box = {"x": plot.weeks.x(index) - width / 2, "y": high, "width": width, "height": low - high}
    return element("rect", class_="band", **box, fill=plot.palette.band)


def _beyond(plot: Plot) -> list[int]:
    top = plot.values.top_value
    return [index for index, high in enumerate(plot.series.highs) if high is not None and high > top]


def _goes_on(plot: Plot, index: int) -> str:
    x, y = plot.weeks.x(index), plot.values.top
    return _arrow(plot, x, y - 2)


def _arrow(plot: Plot, x: float, y: float) -> str:
    path = f"M{number(x - 3.5)} {number(y)}L{number(x)} {number(y - 4)}L{number(x + 3.5)} {number(y)}"
    return element("path", class_="arrow", d=path, fill="none", stroke=plot.palette.soft, stroke_width=1.4)


def draw_line(plot: Plot, run: range) -> str:
    """The line along one stretch of weeks."""
    path = [(plot.weeks.x(index), plot.values.y(plot.series.means[index] or 0.0)) for index in run]
    joined = {"stroke_width": 1.6, "stroke_linejoin": "round"}
    return element("polyline", class_="mean", points=points(path), fill="none", stroke=plot.palette.ink, **joined)


def _point(plot: Plot, index: int) -> str:
    mean = plot.series.means[index]
    if mean is None:
        return ""
    level = plot.series.levels[index] if plot.series.levels else None
    x, y = plot.weeks.x(index), plot.values.y(mean)
    bound = plot.series.at_least and plot.series.at_least[index]
    arrow = _arrow(plot, x, y - plot.radius - 3) if bound else ""
    return arrow + (ring(x, y, plot.radius, level, plot.palette) if _has_ring(plot, index) else "")


def _has_ring(plot: Plot, index: int) -> bool:
    if plot.weeks.slot >= 6:
        return True
    means, last = plot.series.means, plot.series.n_weeks - 1
    alone = (index == 0 or means[index - 1] is None) and (index == last or means[index + 1] is None)
    over = bool(plot.series.levels) and plot.series.levels[index] == "over"
    return alone or over or index == last
