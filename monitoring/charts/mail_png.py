"""A chart of ours as a small PNG for a mail: the SVG's own shapes, drawn by Pillow in shades of the palette alone.

A general SVG program takes fifty milliseconds for such a picture, most of them for colours that it hasn't got. Paper,
band, hair, soft and ink of a palette lie on one scale from light to dark, so a picture is drawn as one number a pixel:
its shade on that scale, and above it the accent's on paper. It knows what our charts are made of and refuses the rest.
"""

from collections.abc import Mapping
from functools import lru_cache
from io import BytesIO
from itertools import pairwise
from xml.etree import ElementTree as ET
from zlib import Z_RLE

from PIL import Image

from monitoring.charts.brush import Brush
from monitoring.charts.palette import LIGHT, Palette

# Numbers from 0 (paper) to DARKEST (ink), and from there on the accent's from faint to full.
DARKEST, MOST = 207, 255
ON_SCALE = ("paper", "band", "hair", "soft", "ink")
_SILENT = {"title", "desc"}


def to_mail_png(svg: str, *, width: int, palette: Palette = LIGHT) -> bytes:
    """The picture on opaque paper, `width` pixels wide; ValueError for a shape or a colour that our charts don't use.

    The colours of what is filled are exact. The rim of an accent is mixed with paper, whatever lies under it.
    """
    root = ET.fromstring(svg)  # noqa: S314  written by monitoring.charts, every text escaped
    across, down = (float(number) for number in root.attrib["viewBox"].split()[2:])
    brush = Brush(width / across, (width, round(down * width / across)), _numbers(palette), MOST)
    for shape in root:
        name = shape.tag.rpartition("}")[2]
        if name not in _SILENT:
            brush.draw(name, dict(root.attrib) | dict(shape.attrib), shape.text or "")
    return _as_png(brush.picture, palette)


def _as_png(picture: Image.Image, palette: Palette) -> bytes:
    picture.putpalette(_colours(palette))
    written = BytesIO()
    # Runs of one number are all that a chart has to be packed of: a third of the time for a fifth more bytes.
    picture.save(written, "PNG", compress_type=Z_RLE)
    return written.getvalue()


@lru_cache(maxsize=8)
def _numbers(palette: Palette) -> Mapping[str, int]:
    """The number of each of the palette's colours; the accent has the largest."""
    light, dark = (_brightness(colour) for colour in (palette.paper, palette.ink))
    places = {
        colour: round((light - _brightness(colour)) / (light - dark) * DARKEST)
        for colour in (getattr(palette, name) for name in ON_SCALE)
    }
    return places | {palette.accent: MOST}


@lru_cache(maxsize=8)
def _colours(palette: Palette) -> bytes:
    """Red, green and blue of each number: straight from one named colour to the next, then from paper to the accent."""
    numbers = _numbers(palette)
    stops = sorted((number, _rgb(colour)) for colour, number in numbers.items() if number <= DARKEST)
    told = [stops[0][1]]
    for (low, light), (high, dark) in pairwise(stops):
        told += [_between(light, dark, step / (high - low)) for step in range(1, high - low + 1)]
    paper, accent = _rgb(palette.paper), _rgb(palette.accent)
    told += [_between(paper, accent, step / (MOST - DARKEST)) for step in range(1, MOST - DARKEST + 1)]
    return bytes(part for colour in told for part in colour)


def _between(one: tuple[int, ...], other: tuple[int, ...], share: float) -> tuple[int, ...]:
    return tuple(round(a + (b - a) * share) for a, b in zip(one, other, strict=True))


def _brightness(colour: str) -> float:
    red, green, blue = _rgb(colour)
    return 0.299 * red + 0.587 * green + 0.114 * blue


def _rgb(colour: str) -> tuple[int, ...]:
    return tuple(bytes.fromhex(colour.removeprefix("#")))
