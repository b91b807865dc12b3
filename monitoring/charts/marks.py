"""The ring of a level: open, half filled from below like a vessel, filled. The word always stands beside it."""

from monitoring.charts.palette import LIGHT, Palette
from monitoring.charts.series import Level
from monitoring.charts.svg import element

_SIZE = 16


def ring(x: float, y: float, radius: float, level: Level | None, palette: Palette) -> str:
    """A ring at a point of a chart; without a level's word a plain dot."""
    if level is None or level == "none":
        return element("circle", class_="dot", cx=x, cy=y, r=radius * 0.6, fill=palette.ink)
    colour, name = (palette.accent, "over") if level == "over" else (palette.ink, level)
    fill = colour if level == "over" else palette.paper
    circle = element(
        "circle", class_=f"ring {name}", cx=x, cy=y, r=radius, fill=fill, stroke=colour, stroke_width=radius * 0.34
    )
    return circle + (_lower_half(x, y, radius, palette) if level == "near" else "")


def level_mark(level: Level, *, palette: Palette = LIGHT) -> str:
    """The ring alone, for a mail's line or a table; hidden from screen readers because the word is beside it.

    For "none" (not counted) it is a short dash: nothing was seen, which is not the same as few.
    """
    middle = _SIZE / 2
    if level == "none":
        dash = {"x1": 3, "x2": 13, "y1": middle, "y2": middle}
        content = element("line", class_="dash", **dash, stroke=palette.soft, stroke_width=2)
    else:
        content = ring(middle, middle, 6.0, level, palette)
    frame = {"viewBox": f"0 0 {_SIZE} {_SIZE}", "width": _SIZE, "height": _SIZE}
    return element("svg", content, xmlns="http://www.w3.org/2000/svg", class_="level-mark", aria_hidden="true", **frame)


def _lower_half(x: float, y: float, radius: float, palette: Palette) -> str:
    path = f"M{x - radius:.2f} {y:.2f}A{radius:.2f} {radius:.2f} 0 0 0 {x + radius:.2f} {y:.2f}Z"
    return element("path", class_="half", d=path, fill=palette.ink)
