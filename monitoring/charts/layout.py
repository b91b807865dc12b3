"""How a season's picture is divided: two shapes, the axes, and the margins that its labels need."""

import math
from dataclasses import dataclass
from functools import cached_property
from itertools import repeat
from typing import Literal

from monitoring.charts.palette import Palette
from monitoring.charts.scale import ValueAxis, WeekAxis, value_axis
from monitoring.charts.series import ChartWords, SeasonSeries
from monitoring.charts.svg import FONT, element, text_width, worded

Shape = Literal["wide", "narrow"]

# A far end of an interval may not flatten everything else: the axis holds this many times the highest mean, and what
# lies beyond is shown as going on.
_INTERVAL_ROOM = 1.6
_LEVEL_ROOM = 1.18
NOWHERE = (math.inf, -math.inf)


@dataclass(frozen=True)
class Sheet:
    """Size of the picture and of its letters [picture units; one is a CSS pixel at the drawn size]."""

    width: float
    height: float
    letters: float


SHEETS: dict[str, Sheet] = {
    "wide": Sheet(width=720, height=268, letters=14),
    "narrow": Sheet(width=360, height=264, letters=14),
}


@dataclass(frozen=True)
class Plot:
    """Everything the layers of a chart draw with."""

    series: SeasonSeries
    words: ChartWords
    palette: Palette
    sheet: Sheet
    weeks: WeekAxis
    values: ValueAxis

    @cached_property
    def places(self) -> tuple[tuple[float, float, float, float], ...]:
        """Of each counted week the middle, the height of its mean, and those of its interval's upper and lower end.

        A week without an interval has it nowhere.
        """
        ends = (self.series.highs or repeat(None), self.series.lows or repeat(None))
        told = zip(self.series.means, *ends, strict=False)
        return tuple(
            (self.weeks.x(index), self.values.y(mean), *self._ends(high, low))
            for index, (mean, high, low) in enumerate(told)
            if mean is not None
        )

    def _ends(self, high: float | None, low: float | None) -> tuple[float, float]:
        return NOWHERE if high is None or low is None else (self.values.y(high), self.values.y(low))

    @cached_property
    def radius(self) -> float:
        """Of the rings: smaller where the weeks stand close."""
        return max(2.2, min(4.6, self.weeks.slot * 0.36))

    @property
    def halo(self) -> dict[str, object]:
        """Attributes that keep a label readable over lines: a rim of paper around its letters."""
        return {"stroke": self.palette.paper, "stroke_width": 4, "stroke_linejoin": "round", "paint_order": "stroke"}

    @property
    def work_row(self) -> float:
        """The baseline of the letters for work, above the plot."""
        return self.values.top - 8


def plot_for(series: SeasonSeries, words: ChartWords, palette: Palette, shape: Shape) -> Plot:
    """Divides the sheet; ValueError if there is no such shape."""
    if shape not in SHEETS:
        raise ValueError(f"A chart is wide or narrow; {shape!r} is neither.")
    sheet = SHEETS[shape]
    top = sheet.letters * 2 + (sheet.letters + 4 if series.work else 0)
    values = value_axis(_highest(series), top=top, bottom=sheet.height - sheet.letters * 2)
    left = max(text_width(words.number(tick), sheet.letters) for tick in values.ticks()) + 10
    right = sheet.width - (8.0 if series.ahead else _last_value_margin(series, words, sheet))
    weeks = WeekAxis(series.n_weeks, left=left, right=right, ahead=len(series.ahead))
    return Plot(series, words, palette, sheet, weeks, values)


def framed(plot: Plot, shape: Shape, content: str) -> str:
    """The picture around its layers, with the words that are read aloud in its place."""
    title_id, words_id = (f"{plot.series.key}-{shape}-{part}" for part in ("title", "words"))
    width, height = f"{plot.sheet.width:g}", f"{plot.sheet.height:g}"
    return element(
        "svg",
        worded("title", plot.words.title, id=title_id),
        worded("desc", plot.words.description, id=words_id),
        content,
        xmlns="http://www.w3.org/2000/svg",
        class_=f"season {shape}",
        role="img",
        aria_labelledby=f"{title_id} {words_id}",
        viewBox=f"0 0 {width} {height}",
        width=width,
        height=height,
        font_family=FONT,
        font_size=plot.sheet.letters,
    )


def _highest(series: SeasonSeries) -> float:
    mean = max((value for value in series.means if value is not None), default=0.0)
    level = max((value for value in series.action_levels if value is not None), default=0.0)
    interval = max((value for value in series.highs if value is not None), default=0.0)
    middle = max((week.median for week in series.ahead), default=0.0)
    before = max((value for value in series.before if value is not None), default=0.0)
    line = max(mean, middle, before)
    beyond = max(interval, max((week.bands[0][1] for week in series.ahead if week.bands), default=0.0))
    held = min(beyond, line * _INTERVAL_ROOM) if line > 0 else beyond
    return max(line * 1.04, held, level * _LEVEL_ROOM)


def _last_value_margin(series: SeasonSeries, words: ChartWords, sheet: Sheet) -> float:
    last = series.means[-1]
    return 8.0 if last is None else text_width(words.number(last), sheet.letters * 1.1) + 12
