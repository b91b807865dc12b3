"""Draws a farm's plan: the sheet, what is built on it, and a mark for each station.

A mark is a ring as everywhere: open below the action level, half filled near it, filled at or over it. Its area grows
with the count beside the level, its shade in steps, and the count stands below it: nothing is told by colour alone.
Between the stations nothing is drawn: so few points say nothing of the ground between them.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from monitoring.charts.svg import element, number, points, text_width, worded

# Radius of a mark at its action level, and the least and the most, in units of the drawing (a pixel at its width).
AT_LEVEL = {"wide": 15.0, "narrow": 11.0}
LEAST, MOST = 0.4, 1.9
WIDTHS = {"wide": 900.0, "narrow": 560.0}
# A sheet taller than this beside its width is drawn this wide, not over the whole page; a long strip narrower still.
TALL, TALL_WIDTH, TALLEST = 1.1, 600.0, 1.6
LETTERS = {"wide": 14.0, "narrow": 12.0}
# Shares of the action level at which the shade changes.
STEPS = (1 / 3, 2 / 3, 1.0, 2.0)
HATCH = "plan-hatch"
NOT_COUNTED = "\N{EN DASH}"


@dataclass(frozen=True)
class Sheet:
    """The paper: its shape, the address of the picture under it ("" for none), and outlines with their names."""

    width: int
    height: int
    picture: str = ""
    outlines: Sequence[tuple[str, Sequence[tuple[float, float]]]] = ()

    @property
    def tall(self) -> bool:
        return self.height > TALL * self.width


@dataclass(frozen=True)
class StationMark:
    """A station at x, y (0 to 1): its number, the word of its level ("" where levels aren't shown), its count as told
    ("" where there is none), `times` its action level, and `told`, all of it in words.
    """

    x: float
    y: float
    number: str
    told: str
    level: str = ""
    count: str = ""
    times: float | None = None
    kept_out: bool = False


@dataclass(frozen=True)
class HatchingMark:
    """A place where flies hatch, at x, y (0 to 1), and what is told of it."""

    x: float
    y: float
    told: str


@dataclass(frozen=True)
class PlanWords:
    title: str
    description: str


def plan_drawing(
    sheet: Sheet,
    stations: Sequence[StationMark],
    words: PlanWords,
    *,
    shape: str = "wide",
    hatching: Sequence[HatchingMark] = (),
) -> str:
    """The plan as SVG, for a page's width or a phone's (`shape`: wide or narrow). Large marks lie under small ones."""
    width, height = size_of(sheet, shape)
    pen = _Pen(width, height, shape)
    ordered = sorted(stations, key=lambda mark: -(mark.times or 0))
    return element(
        "svg",
        worded("title", words.title),
        worded("desc", words.description),
        _hatch(shape),
        element("rect", x=0, y=0, width=number(width), height=number(height), class_="sheet"),
        pen.picture(sheet.picture),
        *(pen.outline(corners, over=bool(sheet.picture)) for _name, corners in sheet.outlines),
        *(pen.name(name, corners) for name, corners in sheet.outlines),
        *(pen.hatching(mark) for mark in hatching),
        *(pen.station(mark) for mark in ordered),
        viewBox=f"0 0 {number(width)} {number(height)}",
        role="img",
        class_=f"plan {shape}",
    )


def size_of(sheet: Sheet, shape: str) -> tuple[float, float]:
    """Width and height of the drawing in its own units."""
    width = min(WIDTHS[shape], TALL_WIDTH) if sheet.tall else WIDTHS[shape]
    height = width * sheet.height / sheet.width
    shrink = min(1.0, TALLEST * width / height)
    return width * shrink, height * shrink


def step_of(times: float | None) -> int:
    """The shade: 0 where nothing was caught or counted, then one more at each share of STEPS."""
    return 0 if not times else 1 + sum(times >= step for step in STEPS)


class _Pen:
    """Draws on a sheet of so many units."""

    def __init__(self, width: float, height: float, shape: str) -> None:
        self.width, self.height = width, height
        self.radius, self.letters, self.hatch = AT_LEVEL[shape], LETTERS[shape], f"{HATCH}-{shape}"

    def at(self, x: float, y: float) -> tuple[float, float]:
        return x * self.width, y * self.height

    def picture(self, address: str) -> str:
        if not address:
            return ""
        return element(
            "image", href=address, x=0, y=0, width=number(self.width), height=number(self.height),
            preserveAspectRatio="none",
        )  # fmt: skip

    def outline(self, corners: Sequence[tuple[float, float]], *, over: bool) -> str:
        drawn = [self.at(x, y) for x, y in corners]
        return element("polygon", points=points(drawn), class_="outline over-picture" if over else "outline")

    def name(self, name: str, corners: Sequence[tuple[float, float]]) -> str:
        """A shape's name inside at its top, in as many lines as its width asks for; over all shapes."""
        drawn = [self.at(x, y) for x, y in corners]
        left, right, top = min(x for x, _ in drawn), max(x for x, _ in drawn), min(y for _, y in drawn)
        lines = _in_lines(name, right - left - self.letters / 2, self.letters)
        return "".join(
            self.text(
                line, left + self.letters * 0.4, top + self.letters * (1.25 + 1.2 * place), "outline-name", "start"
            )
            for place, line in enumerate(lines)
        )

    def station(self, mark: StationMark) -> str:
        x, y = self.at(mark.x, mark.y)
        parts = [worded("title", mark.told), *self._ring(mark, x, y)]
        below = self._reach(mark) + self.letters
        if mark.level:
            parts.append(self.text(mark.count or NOT_COUNTED, x, y + below, "count", "middle"))
        return element("g", *parts, class_=f"mark {mark.level or 'plain'} step-{step_of(mark.times)}")

    def _reach(self, mark: StationMark) -> float:
        """How far the mark goes from its middle: its area is that of the count."""
        if not mark.level:
            return 0.0
        if mark.times is None:
            return self.radius * 0.7
        return self.radius * min(max(math.sqrt(mark.times), LEAST), MOST)

    def _ring(self, mark: StationMark, x: float, y: float) -> list[str]:
        reach = self._reach(mark)
        if not mark.level:
            return [self._plate(mark.number, x, y)]
        if mark.level == "none":
            parts = [self._circle(x, y, reach, "ring none")]
            if mark.kept_out:
                parts.append(element("circle", cx=number(x), cy=number(y), r=number(reach), fill=f"url(#{self.hatch})"))
        else:
            parts = [self._circle(x, y, reach + 2, "halo"), self._circle(x, y, reach, f"ring {mark.level}")]
            if mark.level == "near":
                parts.append(self._lower_half(x, y, reach))
        return [*parts, self._plate(mark.number, x, y - reach - self.letters * 0.75)]

    def _lower_half(self, x: float, y: float, reach: float) -> str:
        left, right, level, round_ = (number(each) for each in (x - reach, x + reach, y, reach))
        return element("path", d=f"M{left},{level}A{round_},{round_} 0 0 0 {right},{level}Z", class_="half")

    def _circle(self, x: float, y: float, reach: float, class_: str) -> str:
        return element("circle", cx=number(x), cy=number(y), r=number(reach), class_=class_)

    def _plate(self, written: str, x: float, y: float) -> str:
        """The station's number on a small card, as it hangs there."""
        wide, tall = text_width(written, self.letters) + 8, self.letters + 3
        plate = element(
            "rect", x=number(x - wide / 2), y=number(y - tall / 2), width=number(wide), height=number(tall), rx=2,
            class_="plate",
        )  # fmt: skip
        return plate + self.text(written, x, y + self.letters * 0.36, "number", "middle")

    def hatching(self, mark: HatchingMark) -> str:
        """A triangle on its base, as large on every sheet."""
        x, y = self.at(mark.x, mark.y)
        side = self.radius * 0.9
        corners = points([(x - side, y + side * 0.7), (x + side, y + side * 0.7), (x, y - side * 0.9)])
        return element("g", worded("title", mark.told), element("polygon", points=corners), class_="hatching")

    def text(self, written: str, x: float, y: float, class_: str, anchor: str) -> str:
        if not written:
            return ""
        return worded(
            "text", written, x=number(x), y=number(y), font_size=number(self.letters), text_anchor=anchor, class_=class_
        )


def _in_lines(written: str, room: float, letters: float) -> list[str]:
    """The words in lines that fit into the room, one word a line where even that is too little."""
    lines: list[str] = []
    for word in written.split():
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and text_width(longer, letters) <= room:
            lines[-1] = longer
        else:
            lines.append(word)
    return lines


def _hatch(shape: str) -> str:
    """The lines over a station that was kept out."""
    line = element("path", d="M0,5L5,0", class_="hatch-line")
    pattern = element("pattern", line, id=f"{HATCH}-{shape}", width=5, height=5, patternUnits="userSpaceOnUse")
    return element("defs", pattern)
