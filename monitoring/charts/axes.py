"""The frame of a season: values from zero at the left, weeks below, the last value in the right margin."""

from monitoring.charts.layout import Plot
from monitoring.charts.runs import runs
from monitoring.charts.svg import element, hairline, text_width, worded


def draw_axes(plot: Plot) -> str:
    return _unit(plot) + _value_ticks(plot) + _week_labels(plot) + _counted_weeks(plot)


def draw_last_value(plot: Plot) -> str:
    """The last week's mean written beside its point; nothing if that week has none."""
    last = plot.series.means[-1]
    if last is None:
        return ""
    size = plot.sheet.letters * 1.1
    x = plot.weeks.x(plot.series.n_weeks - 1)
    if plot.series.ahead:  # what is to come stands at the right of it
        place = {"x": x + plot.radius, "y": plot.values.y(last) - plot.radius - 6, "text_anchor": "end"}
    else:
        y = max(plot.values.y(last) + size * 0.36, plot.values.top + size * 0.36)
        place = {"x": x + plot.radius + 4, "y": y}
    return worded(
        "text",
        plot.words.number(last),
        class_="last halo",
        **place,
        fill=plot.palette.ink,
        font_size=size,
        font_weight=600,
        **plot.halo,
    )


def draw_empty(plot: Plot) -> str:
    """Says that nothing was counted yet, in the lower half, clear of an action level's rule."""
    place = {"x": (plot.weeks.left + plot.weeks.right) / 2, "y": plot.values.y(plot.values.top_value * 0.3)}
    ink = {"fill": plot.palette.soft, "text_anchor": "middle"}
    return worded("text", plot.words.no_counts, class_="soft-text halo", **place, **ink, **plot.halo)


def _unit(plot: Plot) -> str:
    return worded("text", plot.words.unit, class_="soft-text", x=0, y=plot.sheet.letters, fill=plot.palette.soft)


def _value_ticks(plot: Plot) -> str:
    return "".join(_value_tick(plot, tick) for tick in plot.values.ticks())


def _value_tick(plot: Plot, tick: float) -> str:
    y = hairline(plot.values.y(tick))
    across = {"x1": plot.weeks.left, "x2": plot.weeks.right, "y1": y, "y2": y}
    line = element("line", class_="hair", **across, stroke=plot.palette.hair, stroke_width=1)
    place = {"x": plot.weeks.left - 8, "y": y + plot.sheet.letters * 0.34, "text_anchor": "end"}
    return line + worded("text", plot.words.number(tick), class_="soft-text", **place, fill=plot.palette.soft)


def _week_labels(plot: Plot) -> str:
    labels = [plot.words.date_label(plot.series.week(index)) for index in range(plot.series.n_weeks)]
    widest = max(text_width(label, plot.sheet.letters) for label in labels)
    return "".join(_week_label(plot, index, labels[index]) for index in plot.weeks.labelled(widest + 14))


def _week_label(plot: Plot, index: int, label: str) -> str:
    x, bottom = plot.weeks.x(index), plot.values.bottom
    tick = {"x1": hairline(x), "x2": hairline(x), "y1": bottom, "y2": bottom + 5}
    half = text_width(label, plot.sheet.letters) / 2
    # Kept on the sheet: a last label in a narrow slot moves a little to the left.
    middle = max(half, min(x, plot.sheet.width - half))
    place = {"x": middle, "y": bottom + plot.sheet.letters + 8, "text_anchor": "middle"}
    line = element("line", class_="tick", **tick, stroke=plot.palette.soft, stroke_width=1)
    return line + worded("text", label, class_="soft-text", **place, fill=plot.palette.soft)


def _counted_weeks(plot: Plot) -> str:
    """The base line, drawn under counted weeks only: a week without a count leaves a hole in it."""
    return "".join(_base_line(plot, run) for run in runs(plot.series.means))


def _base_line(plot: Plot, run: range) -> str:
    y = plot.values.bottom
    ends = {"x1": plot.weeks.edge(run.start) + 1, "x2": plot.weeks.edge(run.stop) - 1, "y1": y, "y2": y}
    return element("line", class_="base", **ends, stroke=plot.palette.soft, stroke_width=1.5)
