"""An SVG of ours as a PNG for a mail, drawn with the shipped fonts only, so that it looks alike on every machine."""

from pathlib import Path

import resvg_py

from monitoring.charts.palette import LIGHT, Palette

FONT_FILES = [str(path) for path in sorted((Path(__file__).parent / "fonts").glob("*.ttf"))]
_FAMILY = "Open Sans"


def to_png(svg: str, *, width: int | None = None, palette: Palette = LIGHT) -> bytes:
    """The picture on opaque paper, `width` pixels wide (its own width if not given); ValueError if it is no SVG."""
    return resvg_py.svg_to_bytes(
        svg_string=svg,
        width=width,
        background=palette.paper,
        skip_system_fonts=True,
        font_files=FONT_FILES,
        font_family=_FAMILY,
        sans_serif_family=_FAMILY,
    )
