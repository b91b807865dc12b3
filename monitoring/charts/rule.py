"""The action level: a thin rule across the weeks it was valid for, labelled where the label covers least."""

from dataclasses import dataclass

from monitoring.charts.layout import Plot
from monitoring.charts.runs import equal_runs
from monitoring.charts.svg import element, hairline, text_width, worded


@dataclass(frozen=True)
class Place:
    """A box a label may take [picture units]."""

    left: float
    right: float
    top: float
    bottom: float


def draw_action_level(plot: Plot) -> str:
    """One rule a value; the newest is named in full, earlier ones by their number."""
    stretches = list(equal_runs(plot.series.action_levels))
    rules = "".join(_rule(plot, run, level) for run, level in stretches)
    labels = [plot.words.number(level) for _, level in stretches]
    if labels:
        labels[-1] = f"{plot.words.action_level} {labels[-1]}"
    named = zip(stretches, labels, strict=True)
    return rules + "".join(_label(plot, run, level, label) for (run, level), label in named)


def _right_end(plot: Plot, run: range) -> float:
    """A rule valid in the last week runs on to the edge of the plot."""
    return plot.weeks.right if run.stop == plot.series.n_weeks else plot.weeks.edge(run.stop)


def _rule(plot: Plot, run: range, level: float) -> str:
    y = hairline(plot.values.y(level))
    ends = {"x1": plot.weeks.edge(run.start), "x2": _right_end(plot, run), "y1": y, "y2": y}
    return element("line", class_="rule", **ends, stroke=plot.palette.ink, stroke_width=1, stroke_dasharray="7 3")


def _label(plot: Plot, run: range, level: float, label: str) -> str:
    place = min(_places(plot, run, level, label), key=lambda box: covered(plot, box))
    return worded(
        "text",
        label,
        class_="rule-text halo",
        x=place.left,
        y=place.bottom - plot.sheet.letters * 0.28,
        fill=plot.palette.ink,
        **plot.halo,
    )


def _places(plot: Plot, run: range, level: float, label: str) -> list[Place]:
    """Above and below the rule, at its left end first, then along it; the first of equals is taken."""
    width, height = text_width(label, plot.sheet.letters), plot.sheet.letters * 1.25
    left, right = plot.weeks.edge(run.start) + 4, _right_end(plot, run) - width
    y = plot.values.y(level)
    starts = [left + (right - left) * share for share in (0.0, 0.25, 0.5, 0.75, 1.0)] if right > left else [left]
    tops = [y - height - 2] + ([y + 2] if y + height + 4 < plot.values.bottom else [])
    starts = [min(start, plot.sheet.width - width) for start in starts]
    return [Place(start, start + width, top, top + height) for top in tops for start in starts]


def covered(plot: Plot, box: Place) -> float:
    """How much of the data a label would cover: a week's interval and, counted more, its mean."""
    reach, near = plot.weeks.slot / 2 + plot.radius, plot.radius + 2
    left, right, top, bottom = box.left - reach, box.right + reach, box.top, box.bottom
    found = 0.0
    for x, mean, high, low in plot.places:
        if left <= x <= right:
            found += 3.0 * (top - near < mean < bottom + near) + (high < bottom and low > top)
    return found
