"""Writes SVG elements as text. Every attribute and every text is escaped here and nowhere else."""

import math
from html import escape

FONT = "'Open Sans', system-ui, sans-serif"
# Advance widths of the shipped font, regular, from the space (32) to the tilde (126), in thousandths of its size.
# fmt: off
_WIDTHS = (
    260, 264, 398, 646, 572, 827, 729, 219, 295, 295, 551, 572, 259, 322, 263, 367, 572, 572, 572, 572, 572, 572, 572,
    572, 572, 572, 263, 263, 572, 572, 572, 432, 896, 632, 646, 630, 726, 556, 516, 727, 737, 279, 269, 612, 522, 899,
    753, 778, 602, 778, 617, 548, 551, 729, 596, 923, 578, 559, 572, 327, 367, 327, 572, 438, 277, 556, 612, 479, 612,
    562, 336, 543, 613, 252, 252, 525, 252, 926, 613, 602, 612, 612, 409, 477, 356, 613, 500, 775, 523, 501, 469, 375,
    549, 375, 572,
)
# fmt: on
_OTHER_WIDTH = 590


def element(name: str, *children: str, **attributes: object) -> str:
    """One element; `class_` writes class, `stroke_width` stroke-width. Children are markup already written here."""
    pairs = "".join(f' {_attribute_name(key)}="{_attribute(value)}"' for key, value in attributes.items())
    return f"<{name}{pairs}>{''.join(children)}</{name}>" if children else f"<{name}{pairs}/>"


def worded(name: str, content: str, **attributes: object) -> str:
    """An element that holds text: text, title, desc. The text is escaped."""
    return element(name, escape(content), **attributes)


def number(value: float) -> str:
    """A coordinate in at most two decimals, the same on every machine."""
    rounded = round(value, 2) + 0.0  # adding zero turns -0.0 into 0.0
    return f"{rounded:.2f}".rstrip("0").rstrip(".")


def points(pairs: list[tuple[float, float]]) -> str:
    """Coordinates as polyline and polygon take them."""
    return " ".join(f"{number(x)},{number(y)}" for x, y in pairs)


def text_width(content: str, size: float) -> float:
    """How wide a text is at a font size, in the same unit; letters beyond ASCII count as middling."""
    return sum(_letter_width(ord(letter)) for letter in content) * size / 1000


def hairline(place: float) -> float:
    """The nearest place where a line one unit thick fills one row of pixels."""
    return math.floor(place) + 0.5


def _letter_width(code: int) -> int:
    return _WIDTHS[code - 32] if 32 <= code < 127 else _OTHER_WIDTH


def _attribute_name(key: str) -> str:
    return key if key == "viewBox" else key.rstrip("_").replace("_", "-")


def _attribute(value: object) -> str:
    return number(value) if isinstance(value, float) else escape(str(value))
