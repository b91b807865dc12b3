"""One card, trap or leg count with its season, small: many of them stand beside each other on one scale."""

from collections.abc import Sequence
from dataclasses import dataclass

from monitoring.charts.palette import LIGHT, Palette
from monitoring.charts.runs import runs
from monitoring.charts.scale import ValueAxis, WeekAxis, value_axis
from monitoring.charts.series import week_values
from monitoring.charts.svg import element, number

_WIDTH, _HEIGHT, _EDGE = 150.0, 44.0, 3.0


@dataclass(frozen=True)
class StationAxis:
    """What all stations of a method share: the weeks, the scale, and the action level (None where there is none)."""

    n_weeks: int
    up: ValueAxis
    level: float | None

    @classmethod
    def of(cls, rates: Sequence[Sequence[float | None]], level: float | None) -> "StationAxis":
        """An axis that holds every rate of every station, and the level."""
        highest = max((value for row in rates for value in row if value is not None), default=0.0)
        up = value_axis(max(highest, level or 0.0), top=_EDGE, bottom=_HEIGHT - _EDGE)
        return cls(max((len(row) for row in rates), default=0), up, level)

    @property
    def top(self) -> float:
        """The highest value that the scale holds."""
        return self.up.top_value


def station_chart(rates: Sequence[float | None], axis: StationAxis, *, palette: Palette = LIGHT) -> str:
    """One path of a station's weeks, as short as can be: forty of them stand on one page.

    Parameters
    ----------
    rates : (n_weeks,) the station's rate a week, None or NaN = not counted: a gap, and a dot where it stands alone.
    axis : shared by all stations of the method.

    Notes
    -----
    Hidden from screen readers: the number beside it and the table below it say the same.
    """
    weeks = week_values("rates", rates)
    across = WeekAxis(axis.n_weeks, left=0.0, right=_WIDTH, least_slots=2)
    path = "".join(_run(weeks, run, across, axis.up) for run in runs(weeks))
    line = {"fill": "none", "stroke": palette.ink, "stroke_width": 1.5, "stroke_linecap": "round"}
    drawn = element("path", class_="mean", d=path, **line) if path else ""
    size = {"viewBox": f"0 0 {_WIDTH:g} {_HEIGHT:g}"}
    return element("svg", _frame(axis, palette) + drawn, class_="station-weeks", aria_hidden="true", **size)


def _frame(axis: StationAxis, palette: Palette) -> str:
    """The base line, and the action level in dashes."""
    base = element("path", class_="hair", d=f"M0 {number(axis.up.bottom)}h{_WIDTH:g}", stroke=palette.hair)
    if axis.level is None:
        return base
    rule = {"stroke": palette.ink, "stroke_width": 0.8, "stroke_dasharray": "4 3"}
    return base + element("path", class_="rule", d=f"M0 {number(axis.up.y(axis.level))}h{_WIDTH:g}", **rule)


def _run(weeks: Sequence[float | None], run: range, across: WeekAxis, up: ValueAxis) -> str:
    places = [f"{across.x(index):.0f} {up.y(weeks[index] or 0.0):.1f}".replace(".0", "") for index in run]
    # A week alone is a dot: a line of no length with a round end.
    return f"M{places[0]}h0" if len(places) == 1 else f"M{places[0]}L" + " ".join(places[1:])
