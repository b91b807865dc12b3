"""One method's season: weekly means with their interval, gaps as gaps, the action level, the work done."""

from monitoring.charts.ahead import draw_ahead
from monitoring.charts.axes import draw_axes, draw_empty, draw_last_value
from monitoring.charts.before import draw_before, draw_before_name
from monitoring.charts.began import draw_began
from monitoring.charts.layout import Shape, framed, plot_for
from monitoring.charts.means import draw_intervals, draw_means
from monitoring.charts.palette import LIGHT, Palette
from monitoring.charts.rule import draw_action_level
from monitoring.charts.series import ChartWords, SeasonSeries
from monitoring.charts.work import draw_work


def season_chart(series: SeasonSeries, *, words: ChartWords, shape: Shape = "wide", palette: Palette = LIGHT) -> str:
    """The season as SVG text, escaped and ready for a page or for to_png.

    Parameters
    ----------
    series : one method of a farm or facility, week by week.
    words : the reader's words and number format.
    shape : "wide" (720 x 268) or "narrow" (360 x 264, for phones).
    palette : the colours written into the picture; a page's stylesheet overrides them by class.

    Notes
    -----
    The axis starts at zero. Lines and bands never cross a week without a count; that week has no base line either. An
    interval that would flatten the rest is cut at the top of the axis and marked with an open arrow. A mean's ring
    tells its level; a mean that is a lower bound carries an arrow upwards. A forecast stands beyond a line that ends
    the counted weeks, its bands within each other and its median in dashes; the year before is a thin soft line behind.
    """
    plot = plot_for(series, words, palette, shape)
    counted = any(mean is not None for mean in series.means)
    layers = (
        draw_axes(plot),
        draw_work(plot),
        draw_ahead(plot),
        draw_intervals(plot),
        draw_before(plot),
        draw_action_level(plot),
        draw_means(plot),
        draw_began(plot),
        draw_before_name(plot),
        draw_last_value(plot) if counted else draw_empty(plot),
    )
    return framed(plot, shape, "".join(layers))
