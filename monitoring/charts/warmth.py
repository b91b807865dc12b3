"""Daily temperatures with the thresholds above which flies develop, and the warmth that has added up since."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta

from monitoring.charts.layout import Shape
from monitoring.charts.palette import LIGHT, Palette
from monitoring.charts.runs import runs
from monitoring.charts.scale import value_axis
from monitoring.charts.series import plain_number
from monitoring.charts.svg import FONT, element, hairline, number, points, text_width, worded

_SIZES = {"wide": (720.0, 320.0), "narrow": (360.0, 340.0)}
_LETTERS = 14.0


@dataclass(frozen=True)
class WarmthSeries:
    """Days in a row from `first` on, in the reader's unit; None = not known, which is a gap and never zero.

    `added` are the lines of the lower part, one a kind of fly: its name, its sum of degree-days up to each day, and how
    many of them make a fly of an egg. A sum has no value on a day whose temperatures are not known.
    """

    first: date
    lowest: Sequence[float | None]
    highest: Sequence[float | None]
    thresholds: Sequence[tuple[str, float]]
    added: Sequence[tuple[str, Sequence[float | None], float]]

    def __post_init__(self) -> None:
        n_days = len(self.lowest)
        if n_days == 0 or any(len(each) != n_days for each in (self.highest, *(row for _n, row, _k in self.added))):
            raise ValueError("Temperatures have one value a day in every row, and at least one day.")


@dataclass(frozen=True)
class WarmthWords:
    """The reader's words: what is read aloud, and the unit written over each part."""

    title: str
    description: str
    degrees: str
    degree_days: str
    date_label: Callable[[date], str]
    number: Callable[[float], str] = field(default=plain_number)


@dataclass(frozen=True)
class _Part:
    """One part of the picture: days across, values from `low` to `high` up [picture units, y downwards]."""

    n_days: int
    left: float
    right: float
    top: float
    bottom: float
    low: float
    high: float

    def x(self, day: float) -> float:
        return self.left + (day + 0.5) * (self.right - self.left) / self.n_days

    def y(self, value: float) -> float:
        return self.bottom - (value - self.low) / (self.high - self.low) * (self.bottom - self.top)


def warmth_chart(series: WarmthSeries, *, words: WarmthWords, shape: Shape = "wide", palette: Palette = LIGHT) -> str:
    """Two parts one over the other as SVG text: each day's lowest to highest, and the degree-days added up.

    A short stroke across a line of the lower part stands wherever enough has come together for one more egg to have
    become a fly since the first day.
    """
    width, height = _SIZES[shape]
    upper, lower = _parts(series, words, width, height)
    drawn = _days(series, upper, words, palette) + _sums(series, lower, words, palette)
    drawn += _day_labels(series, lower, words, palette)
    ids = [f"warmth-{shape}-{part}" for part in ("title", "words")]
    return element(
        "svg",
        worded("title", words.title, id=ids[0]),
        worded("desc", words.description, id=ids[1]),
        drawn,
        xmlns="http://www.w3.org/2000/svg",
        class_=f"warmth {shape}",
        role="img",
        aria_labelledby=" ".join(ids),
        viewBox=f"0 0 {width:g} {height:g}",
        width=f"{width:g}",
        height=f"{height:g}",
        font_family=FONT,
        font_size=_LETTERS,
    )


def _parts(series: WarmthSeries, words: WarmthWords, width: float, height: float) -> tuple[_Part, _Part]:
    known = [value for value in (*series.lowest, *series.highest) if value is not None]
    known += [value for _name, value in series.thresholds]
    step = 10.0 if max(known) - min(known) < 45 else 20.0
    low, high = step * (min(known) // step), step * -(-max(known) // step)
    most = max((value for _n, row, _k in series.added for value in row if value is not None), default=1.0)
    sums = value_axis(most, top=0, bottom=1)
    label = max(text_width(words.number(each), _LETTERS) for each in (low, high, sums.top_value))
    left, right, middle = label + 10, width - 12, height * 0.53
    days = len(series.lowest)
    upper = _Part(days, left, right, _LETTERS * 2, middle - 10, low, high if high > low else low + step)
    return upper, _Part(days, left, right, middle + _LETTERS * 3.4, height - _LETTERS * 2, 0.0, sums.top_value)


def _days(series: WarmthSeries, part: _Part, words: WarmthWords, palette: Palette) -> str:
    drawn = _unit(words.degrees, part, palette)
    step = 10.0 if part.high - part.low <= 50 else 20.0
    ticks = [part.low + step * at for at in range(round((part.high - part.low) / step) + 1)]
    drawn += "".join(_tick(part, tick, words, palette) for tick in ticks)
    band = min(4.0, (part.right - part.left) / part.n_days * 0.7)
    strokes = "".join(
        f"M{number(part.x(at))} {number(part.y(low))}V{number(part.y(high))}"
        for at, (low, high) in enumerate(zip(series.lowest, series.highest, strict=True))
        if low is not None and high is not None
    )
    drawn += element("path", class_="days", d=strokes, fill="none", stroke=palette.soft, stroke_width=band)
    for at, (name, value) in enumerate(series.thresholds):
        drawn += _threshold(part, value, name, below=at == 0, palette=palette)
    return drawn


def _threshold(part: _Part, value: float, name: str, *, below: bool, palette: Palette) -> str:
    y = hairline(part.y(value))
    ends = {"x1": part.left, "x2": part.right, "y1": y, "y2": y}
    line = element("line", class_="rule", **ends, stroke=palette.ink, stroke_width=1, stroke_dasharray="7 3")
    place = {"x": part.left + 4, "y": y + _LETTERS if below else y - 4}
    halo = {"stroke": palette.paper, "stroke_width": 4, "stroke_linejoin": "round", "paint_order": "stroke"}
    return line + worded("text", name, class_="rule-text halo", **place, fill=palette.ink, **halo)


def _sums(series: WarmthSeries, part: _Part, words: WarmthWords, palette: Palette) -> str:
    axis = value_axis(part.high, top=0, bottom=1)
    drawn = _unit(words.degree_days, part, palette, rows=2) + _key(series, part, palette)
    drawn += "".join(_tick(part, tick, words, palette) for tick in axis.ticks()[::2])
    for at, (_name, row, whole) in enumerate(series.added):
        drawn += _line(part, row, dashed=at > 0, palette=palette) + _wholes(part, row, whole, palette)
    return drawn


def _key(series: WarmthSeries, part: _Part, palette: Palette) -> str:
    """Which line is whose: a piece of each with its name, over the lower part."""
    drawn, x, y = "", 0.0, part.top - _LETTERS
    for at, (name, _row, _whole) in enumerate(series.added):
        ends = {"x1": x, "x2": x + 22, "y1": hairline(y - 5), "y2": hairline(y - 5)}
        dashes: dict[str, object] = {"stroke_dasharray": "5 3"} if at else {}
        drawn += element("line", class_="mean", **ends, stroke=palette.ink, stroke_width=1.6, **dashes)
        drawn += worded("text", name, class_="soft-text", x=x + 28, y=y, fill=palette.soft)
        x += 28 + text_width(name, _LETTERS) + 16
    return drawn


def _line(part: _Part, row: Sequence[float | None], *, dashed: bool, palette: Palette) -> str:
    look: dict[str, object] = {"stroke": palette.ink, "stroke_width": 1.6, "fill": "none"}
    look |= {"stroke_dasharray": "5 3"} if dashed else {}
    paths = [[(part.x(day), part.y(row[day] or 0.0)) for day in run] for run in runs(row)]
    return "".join(element("polyline", class_="mean", points=points(path), **look) for path in paths if len(path) > 1)


def _wholes(part: _Part, row: Sequence[float | None], whole: float, palette: Palette) -> str:
    """A stroke on the first day on which each further egg's worth of warmth is there."""
    days, wanted = [], whole
    for day, value in enumerate(row):
        while value is not None and value >= wanted:
            days.append(day)
            wanted += whole
    strokes = "".join(f"M{number(part.x(day))} {number(part.y(row[day] or 0.0) - 6)}v12" for day in days)
    look = {"stroke": palette.ink, "stroke_width": 1.6, "fill": "none"}
    return element("path", class_="mean", d=strokes, **look) if strokes else ""


def _unit(unit: str, part: _Part, palette: Palette, rows: int = 1) -> str:
    y = part.top - _LETTERS - (rows - 1) * _LETTERS * 1.4
    return worded("text", unit, class_="soft-text", x=0, y=y, fill=palette.soft)


def _tick(part: _Part, value: float, words: WarmthWords, palette: Palette) -> str:
    y = hairline(part.y(value))
    ends = {"x1": part.left, "x2": part.right, "y1": y, "y2": y}
    line = element("line", class_="hair", **ends, stroke=palette.hair, stroke_width=1)
    place = {"x": part.left - 8, "y": y + _LETTERS * 0.34, "text_anchor": "end"}
    return line + worded("text", words.number(value), class_="soft-text", **place, fill=palette.soft)


def _day_labels(series: WarmthSeries, part: _Part, words: WarmthWords, palette: Palette) -> str:
    widest = max(text_width(words.date_label(series.first + timedelta(days=day)), _LETTERS) for day in (0, part.n_days))
    every = next(step for step in (7, 14, 28, 56, 112, 224, 10_000) if step * (part.x(1) - part.x(0)) > widest + 14)
    days = range(part.n_days - 1, -1, -every)
    return "".join(_day_label(part, day, words.date_label(series.first + timedelta(days=day)), palette) for day in days)


def _day_label(part: _Part, day: int, label: str, palette: Palette) -> str:
    half = text_width(label, _LETTERS) / 2
    x = min(part.x(day), part.right + 12 - half)
    tick = {"x1": part.x(day), "x2": part.x(day), "y1": part.bottom, "y2": part.bottom + 5}
    line = element("line", class_="tick", **tick, stroke=palette.soft, stroke_width=1)
    place = {"x": x, "y": part.bottom + _LETTERS + 8, "text_anchor": "middle"}
    return line + worded("text", label, class_="soft-text", **place, fill=palette.soft)
