"""Where a matter began: a small triangle that stands on the base line."""

from monitoring.charts.layout import Plot
from monitoring.charts.svg import element, points


def draw_began(plot: Plot) -> str:
    weeks = sorted({(day - plot.series.first_week).days // 7 for day in plot.series.began})
    return "".join(_mark(plot, week) for week in weeks if 0 <= week < plot.series.n_weeks)


def _mark(plot: Plot, week: int) -> str:
    x, y, half = plot.weeks.x(week), plot.values.bottom, max(2.6, min(4.0, plot.weeks.slot * 0.3))
    corners = [(x - half, y), (x + half, y), (x, y - 2 * half)]
    return element("polygon", class_="began", points=points(corners), fill=plot.palette.ink)
