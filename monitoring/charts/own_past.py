"""One method's weeks against the farm's own past: a smoothed line, its band, and marks where it is outside."""

from collections.abc import Sequence
from typing import Literal

from monitoring.charts.axes import draw_axes
from monitoring.charts.layout import Plot, Shape, framed, plot_for
from monitoring.charts.means import draw_intervals, draw_line
from monitoring.charts.palette import LIGHT, Palette
from monitoring.charts.runs import runs
from monitoring.charts.series import ChartWords, SeasonSeries
from monitoring.charts.svg import element, points

Side = Literal["above", "below", ""]


def own_past_chart(
    series: SeasonSeries,
    unlike: Sequence[Side],
    *,
    words: ChartWords,
    shape: Shape = "wide",
    palette: Palette = LIGHT,
) -> str:
    """The chart as SVG text, escaped and ready for a page.

    Parameters
    ----------
    series : `means` are the smoothed levels, `lows` and `highs` the band; None = a week without a point, a gap.
    unlike : (n_weeks,) "above" or "below" where the line is outside the band, else ""; ValueError unless one a week.
    words : the reader's words and number format; `action_level` is not drawn here.
    shape, palette : as in season_chart.

    Notes
    -----
    A week inside its band is a small dot, one outside it a square standing on a corner, filled with the accent above
    it and with ink below, so that no ring is taken for a word about the action level. The axis starts at zero; nothing
    is drawn across a week without a count.
    """
    if len(unlike) != series.n_weeks:
        raise ValueError(f"There are {series.n_weeks} weeks but {len(unlike)} marks: pass one a week.")
    plot = plot_for(series, words, palette, shape)
    lines = "".join(draw_line(plot, run) for run in runs(series.means) if len(run) > 1)
    marks = "".join(_mark(plot, index, side) for index, side in enumerate(unlike))
    return framed(plot, shape, draw_axes(plot) + draw_intervals(plot) + lines + marks)


def _mark(plot: Plot, index: int, side: Side) -> str:
    level = plot.series.means[index]
    if level is None:
        return ""
    x, y = plot.weeks.x(index), plot.values.y(level)
    if not side:
        return element("circle", class_="dot", cx=x, cy=y, r=plot.radius * 0.5, fill=plot.palette.ink)
    reach = plot.radius * 1.3
    corners = [(x, y - reach), (x + reach, y), (x, y + reach), (x - reach, y)]
    rim = {"stroke": plot.palette.paper, "stroke_width": 1.0}
    fill = plot.palette.accent if side == "above" else plot.palette.ink
    return element("polygon", class_=f"unlike {side}", points=points(corners), fill=fill, **rim)
