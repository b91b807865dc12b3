"""The few shapes that the report's pictures are put together from, in the look of the pages' charts."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from monitoring.charts.palette import LIGHT
from monitoring.charts.svg import FONT, element, hairline, points, text_width, worded

WIDTH, LETTERS, MARGIN = 720.0, 14.0, 16.0
PIXELS = 1440
# Dashes that tell lines apart beside their labels; the first is a full line.
DASHES = ("none", "7 4", "2 4")

Pairs = Sequence[tuple[float, float]]


@dataclass(frozen=True)
class Axis:
    """Values from `first` to `last`, drawn from `begin` to `end` [picture units]."""

    first: float
    last: float
    begin: float
    end: float

    def __call__(self, value: float) -> float:
        """Where a value lies; one beyond the axis lies on its end."""
        share = (min(max(value, self.first), self.last) - self.first) / (self.last - self.first)
        return self.begin + share * (self.end - self.begin)


@dataclass(frozen=True)
class Panel:
    """A plot: values across from the left, values up from the bottom."""

    x: Axis
    y: Axis

    def at(self, pairs: Pairs) -> list[tuple[float, float]]:
        """Where points lie on the picture."""
        return [(self.x(across), self.y(up)) for across, up in pairs]

    def heading(self, words: str) -> str:
        """Words above the plot, from its left edge."""
        return text(words, self.x.begin, self.y.end - 12, weight=600)

    def rules(self, ticks: Iterable[float], label: Callable[[float], str]) -> str:
        """Hairlines across at values up, each labelled at the left."""
        drawn = ""
        for tick in ticks:
            y = hairline(self.y(tick))
            drawn += line((self.x.begin, y), (self.x.end, y), stroke=LIGHT.hair)
            drawn += text(label(tick), self.x.begin - 8, y + LETTERS * 0.34, anchor="end", soft=True)
        return drawn

    def posts(self, ticks: Iterable[float], label: Callable[[float], str]) -> str:
        """Hairlines up at values across, each labelled below."""
        drawn = ""
        for tick in ticks:
            x = hairline(self.x(tick))
            drawn += line((x, self.y.begin), (x, self.y.end), stroke=LIGHT.hair)
            drawn += text(label(tick), x, self.y.begin + LETTERS + 6, anchor="middle", soft=True)
        return drawn

    def below(self, words: str) -> str:
        """What the values across are, under their labels."""
        middle = (self.x.begin + self.x.end) / 2
        return text(words, middle, self.y.begin + 2 * LETTERS + 12, anchor="middle", soft=True)

    def area(self, low: tuple[float, float], high: tuple[float, float]) -> str:
        """A box between two corners (across, up), in the colour of what was asked or foretold."""
        left, right = sorted((self.x(low[0]), self.x(high[0])))
        top, bottom = sorted((self.y(low[1]), self.y(high[1])))
        return element("rect", x=left, y=top, width=right - left, height=bottom - top, fill=LIGHT.band)

    def surface(self, pairs: Pairs) -> str:
        """What lies between points, in the same colour."""
        return element("polygon", points=points(self.at(pairs)), fill=LIGHT.band)

    def path(self, pairs: Pairs, *, dash: str = "none", colour: str = LIGHT.ink) -> str:
        """A line through points."""
        joined = {"fill": "none", "stroke": colour, "stroke_width": 1.6, "stroke_linejoin": "round"}
        return element("polyline", points=points(self.at(pairs)), stroke_dasharray=dash, **joined)

    def dot(self, across: float, up: float, *, colour: str = LIGHT.ink, radius: float = 3.4, aside: float = 0.0) -> str:
        """A full dot; `aside` moves it by picture units, up and down."""
        return element("circle", cx=self.x(across), cy=self.y(up) + aside, r=radius, fill=colour)

    def whisker(self, across: float, low: float, high: float) -> str:
        """A thin line from one value up to another."""
        x = self.x(across)
        return line((x, self.y(low)), (x, self.y(high)), stroke=LIGHT.soft)


def line(begin: tuple[float, float], end: tuple[float, float], *, stroke: str = LIGHT.soft, dash: str = "none") -> str:
    """A straight line one unit thick."""
    ends = {"x1": begin[0], "y1": begin[1], "x2": end[0], "y2": end[1]}
    return element("line", **ends, stroke=stroke, stroke_width=1, stroke_dasharray=dash)


def text(words: str, x: float, y: float, *, anchor: str = "start", soft: bool = False, weight: int = 400) -> str:
    """Words at a place; soft ones stand back."""
    ink = LIGHT.soft if soft else LIGHT.ink
    halo = {"stroke": LIGHT.paper, "stroke_width": 3.5, "stroke_linejoin": "round", "paint_order": "stroke"}
    return worded("text", words, x=x, y=y, text_anchor=anchor, fill=ink, font_weight=weight, **halo)


def width_of(words: str) -> float:
    """How wide words are at the pictures' size."""
    return text_width(words, LETTERS)


def sheet(title: str, about: str, height: float, *content: str) -> str:
    """The whole picture as SVG text, with its title and a line about it above."""
    head = worded("text", title, x=MARGIN, y=MARGIN + 10, fill=LIGHT.ink, font_size=LETTERS * 1.2, font_weight=600)
    return element(
        "svg",
        worded("title", title),
        head,
        text(about, MARGIN, MARGIN + 32, soft=True),
        *content,
        xmlns="http://www.w3.org/2000/svg",
        viewBox=f"0 0 {WIDTH:g} {height:g}",
        width=f"{WIDTH:g}",
        height=f"{height:g}",
        font_family=FONT,
        font_size=LETTERS,
    )


def percent(share: float) -> str:
    """0.95 as "95 %"."""
    return f"{100 * share:.0f} %"
