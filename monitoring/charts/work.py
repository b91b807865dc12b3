"""Work done, as a letter above the plot on a fine line down to the weeks; a programme as a band beside its letter."""

from datetime import date

from monitoring.charts.layout import Plot
from monitoring.charts.series import WorkMark
from monitoring.charts.svg import element, hairline, worded


def draw_work(plot: Plot) -> str:
    shown = sorted((mark for mark in plot.series.work if _in_view(plot, mark)), key=lambda mark: mark.day)
    lines = "".join(_line(plot, hairline(_x(plot, mark))) for mark in shown if _week_index(plot, mark.day) >= 0)
    bands = "".join(_band(plot, mark) for mark in shown if mark.until is not None)
    return lines + bands + "".join(_letters(plot, x, letters) for x, letters in _gathered(plot, shown))


def _week_index(plot: Plot, day: date) -> float:
    return (day - plot.series.first_week).days / 7


def _in_view(plot: Plot, mark: WorkMark) -> bool:
    return _week_index(plot, mark.day) < plot.series.n_weeks and _week_index(plot, mark.until or mark.day) >= 0


def _x(plot: Plot, mark: WorkMark) -> float:
    """Where its letter stands: of a programme that began before the weeks shown, at the first of them."""
    return plot.weeks.edge(max(0.0, _week_index(plot, mark.day))) + plot.weeks.slot / 14


def _band(plot: Plot, mark: WorkMark) -> str:
    """From the first day to the last, as far as it lies in the weeks shown."""
    last = min(float(plot.series.n_weeks), _week_index(plot, mark.until or mark.day) + 1 / 7)
    begins, ends = _x(plot, mark), plot.weeks.edge(last)
    place = {"x": begins, "y": plot.work_row + 2.5, "width": max(0.0, ends - begins), "height": 4}
    return element("rect", class_="work-band", **place, fill=plot.palette.soft)


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
