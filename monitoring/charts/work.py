"""Work done, as a letter above the plot on a fine line down to the weeks."""

from monitoring.charts.layout import Plot
from monitoring.charts.series import WorkMark
from monitoring.charts.svg import element, hairline, worded


def draw_work(plot: Plot) -> str:
    shown = sorted((mark for mark in plot.series.work if _in_view(plot, mark)), key=lambda mark: mark.day)
    lines = "".join(_line(plot, hairline(_x(plot, mark))) for mark in shown)
    return lines + "".join(_letters(plot, x, letters) for x, letters in _gathered(plot, shown))


def _week_index(plot: Plot, mark: WorkMark) -> float:
    return (mark.day - plot.series.first_week).days / 7


def _in_view(plot: Plot, mark: WorkMark) -> bool:
    return 0 <= _week_index(plot, mark) < plot.series.n_weeks


def _x(plot: Plot, mark: WorkMark) -> float:
    return plot.weeks.edge(_week_index(plot, mark)) + plot.weeks.slot / 14


def _gathered(plot: Plot, marks: list[WorkMark]) -> list[tuple[float, str]]:
    """Letters that would touch are written as one word at the first one's place, each letter once."""
    groups: list[tuple[float, str]] = []
    for mark in marks:
        x = _x(plot, mark)
        if groups and x - groups[-1][0] < plot.sheet.letters * (0.2 + 0.75 * len(groups[-1][1])):
            start, letters = groups[-1]
            groups[-1] = start, letters if mark.letter in letters else letters + mark.letter
        else:
            groups.append((x, mark.letter))
    return groups


def _line(plot: Plot, x: float) -> str:
    ends = {"x1": x, "x2": x, "y1": plot.work_row + 3, "y2": plot.values.bottom}
    return element("line", class_="work", **ends, stroke=plot.palette.soft, stroke_width=1, stroke_dasharray="1 3")


def _letters(plot: Plot, x: float, letters: str) -> str:
    place = {"x": x - plot.sheet.letters * 0.3, "y": plot.work_row}
    return worded("text", letters, class_="work-text", **place, fill=plot.palette.ink, font_weight=600)
