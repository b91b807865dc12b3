"""The few colours a chart needs. Pages override them by class (flyround.css); mails and paper take them as they are."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Palette:
    """Colours as #rrggbb; the names are those of the custom properties in flyround.css."""

    paper: str
    ink: str
    soft: str
    hair: str
    band: str
    accent: str


LIGHT = Palette(paper="#faf7f0", ink="#211c16", soft="#5a5145", hair="#e0d7c6", band="#e6dcc8", accent="#a2340c")
DARK = Palette(paper="#1a1713", ink="#f1eade", soft="#b8ac9a", hair="#3a342b", band="#453d30", accent="#f2976b")
