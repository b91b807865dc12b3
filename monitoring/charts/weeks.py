"""The small line of weeks that stands beside a sentence such as "third week up"."""

from collections.abc import Sequence

from monitoring.charts.marks import ring
from monitoring.charts.palette import LIGHT, Palette
from monitoring.charts.runs import runs
from monitoring.charts.scale import ValueAxis, WeekAxis
from monitoring.charts.series import Level, Values, week_values
from monitoring.charts.svg import element, points

_WIDTH, _HEIGHT, _EDGE = 88.0, 22.0, 4.0


def weeks_line(
    values: Sequence[float | None], *, title: str = "", level: Level | None = None, palette: Palette = LIGHT
) -> str:
    """A line of weekly values from zero up, gaps as gaps, the last week as its level's ring.

    Parameters
    ----------
    values : (n_weeks,) one a week, None or NaN = not counted.
    title : read aloud; empty where the sentence beside it says it all, the line is then hidden from screen readers.
    level : the last week's word.
    """
    weeks = week_values("values", values)
    if not weeks:
        raise ValueError("A line of weeks has no week to show: pass one value a week, None where nothing was counted.")
    highest = max((value for value in weeks if value is not None), default=0.0) or 1.0
    across = WeekAxis(len(weeks), left=_EDGE, right=_WIDTH - _EDGE, least_slots=2)
    up = ValueAxis(top_value=highest, step=highest, top=_EDGE + 1, bottom=_HEIGHT - _EDGE)
    drawn = _baseline(palette) + _runs(weeks, across, up, palette)
    if weeks[-1] is not None:
        drawn += ring(across.x(len(weeks) - 1), up.y(weeks[-1]), 3.2, level, palette)
    return _frame(drawn, title)


def _frame(content: str, title: str) -> str:
    spoken = {"role": "img", "aria_label": title} if title else {"aria_hidden": "true"}
    size = {"viewBox": f"0 0 {_WIDTH:g} {_HEIGHT:g}", "width": f"{_WIDTH:g}", "height": f"{_HEIGHT:g}"}
    return element("svg", content, xmlns="http://www.w3.org/2000/svg", class_="weeks-line", **spoken, **size)


def _baseline(palette: Palette) -> str:
    y = _HEIGHT - 1
    return element("line", class_="hair", x1=_EDGE, x2=_WIDTH - _EDGE, y1=y, y2=y, stroke=palette.hair, stroke_width=1)


def _runs(weeks: Values, across: WeekAxis, up: ValueAxis, palette: Palette) -> str:
    return "".join(_run(weeks, run, across, up, palette) for run in runs(weeks))


def _run(weeks: Values, run: range, across: WeekAxis, up: ValueAxis, palette: Palette) -> str:
    path = [(across.x(index), up.y(weeks[index] or 0.0)) for index in run]
    if len(path) == 1:
        return ring(*path[0], 2.4, None, palette)
    return element("polyline", class_="mean", points=points(path), fill="none", stroke=palette.ink, stroke_width=1.6)
