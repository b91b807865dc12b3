"""The picture in a Monday list: the last eight weeks of each farm to call, one small line under the other."""

from collections.abc import Sequence
from html import escape

from django.utils.translation import gettext as _

from alerts.delivery.letter import Picture
from alerts.selectors.monday import MondayRow
from alerts.wording.numbers import amount
from monitoring.charts import LIGHT, to_png, weeks_line

MOST = 12  # farms
WIDTH, ROW, TOP = 360, 38, 4  # picture units; about one CSS pixel on a phone
LINE_LEFT, LINE_SCALE = 196, 1.3
LETTERS = 15
LONGEST = 24  # letters of a name


def picture_of_rows(rows: Sequence[MondayRow]) -> Picture | None:
    """Name, line of weeks and newest mean of each farm; None where none of them counted anything."""
    shown = [row for row in rows if any(mean is not None for mean in row.weeks)][:MOST]
    if not shown:
        return None
    height = TOP * 2 + ROW * len(shown)
    content = "".join(_row(row, TOP + ROW * number) for number, row in enumerate(shown))
    svg = f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {height}" width="{WIDTH}">{content}</svg>'
    return Picture(to_png(svg, width=3 * WIDTH), _in_words(shown))


def _row(row: MondayRow, top: int) -> str:
    middle = top + ROW * 0.62
    line = weeks_line(row.weeks, level=row.level_word)  # type: ignore[arg-type]  # one of the level's words
    drawn = f'<g transform="translate({LINE_LEFT} {top + 3}) scale({LINE_SCALE})">{line}</g>'
    newest = row.weeks[-1]
    value = _text(WIDTH - 4, middle, amount(newest), "end") if newest is not None else ""
    return _text(0, middle, _short(row.farm.name), "start") + drawn + value


def _text(x: float, y: float, content: str, anchor: str) -> str:
    place = f'x="{x:g}" y="{y:g}" text-anchor="{anchor}" font-size="{LETTERS}" fill="{LIGHT.ink}"'
    return f"<text {place}>{escape(content)}</text>"


def _short(name: str) -> str:
    return name if len(name) <= LONGEST else f"{name[: LONGEST - 1].rstrip()}…"


def _in_words(rows: Sequence[MondayRow]) -> str:
    """Each farm with its eight weekly means, oldest first."""
    told = []
    for row in rows:
        means = [_("not counted") if mean is None else amount(mean) for mean in row.weeks]
        told.append(f"{row.farm.name}: {', '.join(means)}")
    return _("The last eight weeks, oldest first.") + " " + ". ".join(told) + "."
