"""Draws the shapes of our charts into a picture of one number a pixel, each edge smoothed in a mask of its own."""

import math
import re
from collections.abc import Callable, Mapping, Sequence
from functools import lru_cache
from pathlib import Path

from PIL import Image, ImageDraw, ImageFont

# Edges are drawn this many times as fine, then averaged.
FINE = 4
FONTS = Path(__file__).parent / "fonts"
Attributes = Mapping[str, str]
Point = tuple[float, float]
Paint = Callable[[ImageDraw.ImageDraw, Callable[[float, float], Point], float], None]
_BEFORE = {"start": 0.0, "middle": 0.5, "end": 1.0}  # the share of a text before its anchor
_STEP = re.compile(r"([MLAZ])([^MLAZ]*)")


class Brush:
    """A picture being drawn: `scale` pixels for one unit of the SVG, `numbers` what stands for which colour."""

    def __init__(self, scale: float, size: tuple[int, int], numbers: Mapping[str, int], accent: int) -> None:
        self.scale, self.numbers, self.accent = scale, numbers, accent
        self.picture = Image.new("L", size, 0)
        self.fine = scale * FINE
        self.shapes: dict[str, Callable[[Attributes], None]] = {
            "line": self.line, "polyline": self.polyline, "polygon": self.polygon, "rect": self.rect,
            "circle": self.circle, "path": self.path,
        }  # fmt: skip

    def draw(self, name: str, given: Attributes, content: str) -> None:
        """One shape by its SVG name and attributes; ValueError for one that our charts have not."""
        if name == "text":
            self.text(given, content)
        elif name in self.shapes:
            self.shapes[name](given)
        else:
            raise ValueError(f"A mail's picture has no {name}: draw it as a line, a circle, a polygon or text.")

    def line(self, given: Attributes) -> None:
        """A line across or down, throughout or in dashes."""
        x1, y1, x2, y2, half = (float(given[name]) for name in ("x1", "y1", "x2", "y2", "stroke-width"))
        half /= 2
        dashes = [float(each) for each in given.get("stroke-dasharray", "").split()]
        if y1 == y2:
            bars = [(start, y1 - half, end, y1 + half) for start, end in _spans(x1, x2, dashes)]
        else:
            bars = [(x1 - half, start, x1 + half, end) for start, end in _spans(y1, y2, dashes)]
        self.bars(given["stroke"], bars)

    def bars(self, colour: str, bars: Sequence[tuple[float, float, float, float]]) -> None:
        """Rectangles (left, top, right, bottom): alone with the share of each pixel that it covers, many as a mask."""
        if len(bars) == 1:
            left, top, right, bottom = (each * self.scale for each in bars[0])
            columns, rows = _covered(left, right), _covered(top, bottom)
            mask = b"".join(_row(share, columns) for share in rows)
            self.put(colour, (int(left), int(top)), Image.frombytes("L", (len(columns), len(rows)), mask))
            return

        def paint(mask: ImageDraw.ImageDraw, at: Callable[[float, float], Point], _fine: float) -> None:
            for left, top, right, bottom in bars:
                (x1, y1), (x2, y2) = at(left, top), at(right, bottom)
                mask.rectangle((round(x1 + 0.5), round(y1 + 0.5), round(x2 - 0.5), round(y2 - 0.5)), fill=255)

        self.paint(colour, [bars[0][:2], bars[-1][2:]], 0.0, paint)

    def polyline(self, given: Attributes) -> None:
        self.stroke(given, _points(given["points"]))

    def polygon(self, given: Attributes) -> None:
        self.fill(given["fill"], _points(given["points"]))

    def rect(self, given: Attributes) -> None:
        x, y, width, height = (float(given[name]) for name in ("x", "y", "width", "height"))
        self.fill(given["fill"], [(x, y), (x + width, y), (x + width, y + height), (x, y + height)])

    def circle(self, given: Attributes) -> None:
        x, y, radius, rim = (float(given.get(name, 0)) for name in ("cx", "cy", "r", "stroke-width"))
        if "stroke" in given:
            self.disc(given["stroke"], (x, y), radius + rim / 2)
        if given.get("stroke") != given["fill"]:
            self.disc(given["fill"], (x, y), radius - rim / 2 if "stroke" in given else radius)

    def path(self, given: Attributes) -> None:
        """An open arrow, or the lower half of a disc: the two paths of our charts."""
        steps = [(step, [float(each) for each in places.split()]) for step, places in _STEP.findall(given["d"])]
        if "".join(step for step, _places in steps) == "MAZ":
            (x, y), radius = steps[0][1], steps[1][1][0]
            self.disc(given["fill"], (x + radius, y), radius, "lower half")
        else:
            self.stroke(given, [(places[0], places[1]) for _step, places in steps])

    def fill(self, colour: str, corners: Sequence[Point]) -> None:
        def paint(mask: ImageDraw.ImageDraw, at: Callable[[float, float], Point], _fine: float) -> None:
            mask.polygon([at(x, y) for x, y in corners], fill=255)

        self.paint(colour, corners, 0.0, paint)

    def disc(self, colour: str, middle: Point, radius: float, part: str = "whole") -> None:
        """A disc, or its lower half."""
        (column, x), (row, y) = (divmod(round(each * self.fine), FINE) for each in middle)
        mask, reach = _disc(radius * self.fine, x, y, part)
        self.put(colour, (column - reach, row - reach), mask)

    def stroke(self, given: Attributes, line: Sequence[Point]) -> None:
        width = float(given["stroke-width"])
        joint = "curve" if given.get("stroke-linejoin") == "round" else None

        def paint(mask: ImageDraw.ImageDraw, at: Callable[[float, float], Point], fine: float) -> None:
            mask.line([at(x, y) for x, y in line], fill=255, width=round(width * fine), joint=joint)

        self.paint(given["stroke"], line, width, paint)

    def paint(self, colour: str, around: Sequence[Point], margin: float, paint: Paint) -> None:
        """Let a shape be painted into a fine mask as large as it needs, and put its colour through the mask."""
        xs, ys = [x for x, _y in around], [y for _x, y in around]
        left, top = (int((low - margin) * self.scale) - 1 for low in (min(xs), min(ys)))
        right, bottom = (int((high + margin) * self.scale) + 2 for high in (max(xs), max(ys)))
        mask = Image.new("L", ((right - left) * FINE, (bottom - top) * FINE))
        fine = self.fine

        def at(x: float, y: float) -> Point:
            return x * fine - left * FINE - 0.5, y * fine - top * FINE - 0.5

        paint(ImageDraw.Draw(mask), at, fine)
        self.put(colour, (left, top), mask.reduce(FINE))

    def put(self, colour: str, corner: tuple[int, int], mask: Image.Image) -> None:
        if colour not in self.numbers:
            raise ValueError(f"A mail's picture has the palette's colours; {colour} is none of them.")
        number = self.numbers[colour]
        if number == self.accent:
            # Faint accent is a number of its own, not one between paper's and the accent's.
            faint = mask.point(_faintness(max(n for n in self.numbers.values() if n != number), number))
            self.picture.paste(faint, corner, mask.point(_SEEN))
        else:
            self.picture.paste(number, corner, mask)

    def text(self, given: Attributes, content: str) -> None:
        """Words on their baseline, over a rim of another colour where they have one."""
        if not content:
            return
        x, y, size = (float(given[name]) * self.scale for name in ("x", "y", "font-size"))
        kind = content, given.get("font-weight", "400"), round(size, 2)
        x -= _length(*kind) * _BEFORE[given.get("text-anchor", "start")]
        rims = [("stroke", float(given["stroke-width"]) / 2 * self.scale)] if "stroke" in given else []
        for colour, rim in (*rims, ("fill", 0.0)):
            mask, left, top = _words(*kind, rim)
            self.put(given[colour], (round(x) + left, round(y) + top), mask)


_SEEN = [0] + [255] * 255


@lru_cache(maxsize=4)
def _faintness(darkest: int, accent: int) -> list[int]:
    return [darkest + round(share / 255 * (accent - darkest)) for share in range(256)]


# One group's pictures have the same weeks, numbers and rings again and again.
@lru_cache(maxsize=256)
def _disc(radius: float, x: int, y: int, part: str) -> tuple[Image.Image, int]:
    """A disc's mask [radius and place within a pixel in fine ones], and how far its middle lies within it [pixels]."""
    reach = math.ceil(radius / FINE) + 1
    mask = Image.new("L", ((reach * 2 + 1) * FINE, (reach * 2 + 1) * FINE))
    left, top = reach * FINE + x - 0.5 - radius, reach * FINE + y - 0.5 - radius
    box = (left, top, left + 2 * radius, top + 2 * radius)
    ImageDraw.Draw(mask).pieslice(box, 0, 180 if part == "lower half" else 360, fill=255)
    return mask.reduce(FINE), reach


@lru_cache(maxsize=512)
def _words(content: str, weight: str, size: float, rim: float) -> tuple[Image.Image, int, int]:
    """The mask of a text, and where its left upper corner lies from the beginning of its baseline."""
    font = _font(weight, size)
    left, top, right, bottom = (int(each) for each in font.getbbox(content, anchor="ls", stroke_width=rim))
    mask = Image.new("L", (right - left, bottom - top))
    ImageDraw.Draw(mask).text((-left, -top), content, 255, font, anchor="ls", stroke_width=rim)
    return mask, left, top


@lru_cache(maxsize=512)
def _length(content: str, weight: str, size: float) -> float:
    return _font(weight, size).getlength(content)


@lru_cache(maxsize=32)
def _font(weight: str, size: float) -> ImageFont.FreeTypeFont:
    path = FONTS / f"open-sans-latin-{weight}.ttf"
    return ImageFont.truetype(path, size, layout_engine=ImageFont.Layout.BASIC)


def _points(pairs: str) -> list[Point]:
    numbers = [[float(each) for each in pair.split(",")] for pair in pairs.split()]
    return [(x, y) for x, y in numbers]


def _spans(start: float, end: float, dashes: Sequence[float]) -> list[tuple[float, float]]:
    """From where to where a line is drawn: throughout, or dash by dash."""
    if not dashes:
        return [(start, end)]
    on, off = dashes
    begins = [start + number * (on + off) for number in range(int((end - start) / (on + off)) + 1)]
    return [(begin, min(begin + on, end)) for begin in begins]


def _covered(start: float, end: float) -> list[float]:
    """Which share of each pixel from the first to the last it touches a line covers."""
    first, last = int(start), math.ceil(end) - 1
    if first == last:
        return [end - start]
    return [first + 1 - start, *[1.0] * (last - first - 1), end - last]


def _row(share: float, columns: Sequence[float]) -> bytes:
    """One row of a rectangle's mask."""
    if len(columns) == 1:
        return bytes([round(255 * share * columns[0])])
    full = bytes([round(255 * share)]) * (len(columns) - 2)
    return bytes([round(255 * share * columns[0])]) + full + bytes([round(255 * share * columns[-1])])
