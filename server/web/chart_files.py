"""What a chart shows as a CSV file: the same numbers in English for everybody, each column's unit in its name.

Stored numbers, not those of the reader's form: points for decimals, days as year-month-day, degrees Celsius. An empty
cell is what was not counted, never zero; a text that a spreadsheet would take for a formula begins with an apostrophe.
"""

import csv
from collections.abc import Iterable, Iterator, Sequence
from datetime import date
from typing import TYPE_CHECKING, Any

from django.utils.translation import override

from alerts.selectors.station_weeks import StationSeason
from monitoring.methods import METHODS
from server.exports.formulas import harmless
from server.exports.streams import gathered
from server.web.season import Mark, MethodSeasons, ends_of

if TYPE_CHECKING:
    from monitoring.selectors import Warmth

Cell = str | float | int | date | None


def season_csv(seasons: MethodSeasons) -> Iterator[bytes]:
    """All seasons, a week a line, and after them the weeks ahead."""
    with override("en"):
        rows = list(_season_rows(seasons))
    return written(rows)


def _season_rows(seasons: MethodSeasons) -> Iterator[Sequence[Cell]]:
    unit = _unit(seasons.method)
    yield (
        "week (Monday)", f"mean [{unit}]", f"range from [{unit}]", f"range to [{unit}]", "mean is a lower bound",
        f"action level [{unit}]", "stands", "counted", "without a count", f"same week of the year before [{unit}]",
        "work", "matters begun", f"forecast median [{unit}]", f"forecast, 5 in 10, from [{unit}]",
        f"forecast, 5 in 10, to [{unit}]", f"forecast, 8 in 10, from [{unit}]", f"forecast, 8 in 10, to [{unit}]",
    )  # fmt: skip
    weeks = seasons.weeks
    for week, before in zip(weeks, seasons.year_before(weeks), strict=True):
        row = seasons.rows.get(week)
        judged: Sequence[Cell] = (None,) * 8
        if row is not None:
            judged = (
                row.mean, *ends_of(row), row.at_least if row.mean is not None else None, row.level, row.result,
                row.devices, row.missing,
            )  # fmt: skip
        work = "; ".join(f"{mark.what} {_days(mark)}" for mark in seasons.marks if week in mark.weeks)
        began = "; ".join(each.rule for each in seasons.began if each.week == week)
        yield (week, *judged, before.mean if before else None, work, began, *(None,) * 5)
    for week, told, before in zip(seasons.to_come(), seasons.fan, seasons.year_before(seasons.to_come()), strict=True):
        fan = (told.median, told.inner_low, told.inner_high, told.low, told.high)
        yield (week, *(None,) * 8, before.mean if before else None, None, None, *fan)


def _days(mark: Mark) -> str:
    """The day; of a programme, in each of its weeks, its first and last day and how many there were."""
    return str(mark.day) if mark.until is None else f"{mark.day} to {mark.until}, {mark.times} times"


def stations_csv(mondays: Sequence[date], seasons: Sequence[StationSeason]) -> Iterator[bytes]:
    """A station and week a line, in walking order, with every week of the picture."""
    with override("en"):
        rows = [_STATION_COLUMNS, *_station_rows(mondays, seasons)]
    return written(rows)


_STATION_COLUMNS = (
    "building", "place in the walking order", "which", "method", "unit", "week (Monday)", "count [unit]",
    "count is a lower bound",
)  # fmt: skip


def _station_rows(mondays: Sequence[date], seasons: Sequence[StationSeason]) -> Iterator[Sequence[Cell]]:
    for each in seasons:
        station = each.station
        named = (station.facility.name, station.position, station.label, station.method, _unit(station.method))
        for week, rate, bound in zip(mondays, each.rates, each.at_least, strict=True):
            yield (*named, week, rate, bound if rate is not None else None)


def warmth_csv(warmth: "Warmth") -> Iterator[bytes]:
    """A day a line, in degrees Celsius."""
    kinds = [each.kind.replace("_", " ") for each in warmth.kinds]
    names = [
        f"degree-days above {each.threshold:.1f} °C since {warmth.first}, {kind} [°C d]"
        for each, kind in zip(warmth.kinds, kinds, strict=True)
    ]
    rows: list[Sequence[Cell]] = [("day", "lowest [°C]", "highest [°C]", "measured on the farm", *names)]
    for at, day in enumerate(warmth.days):
        known = warmth.lowest[at] is not None
        own = warmth.is_own[at] if known else None
        rows.append((day, warmth.lowest[at], warmth.highest[at], own, *(each.sums[at] for each in warmth.kinds)))
    return written(rows)


def _unit(method: str) -> str:
    """Specks a card and 7 days."""
    one = METHODS[method]
    return f"{one.unit} and {one.per_days} days" if one.hangs else str(one.unit)


def written(rows: Iterable[Sequence[Cell]]) -> Iterator[bytes]:
    """The rows as RFC 4180 has them but for the lines' ends, UTF-8, in pieces of about 64 kB."""
    writer = csv.writer(_Line(), lineterminator="\n")
    return gathered(writer.writerow([_cell(value) for value in row]).encode() for row in rows)


class _Line:
    """Gives each written line back."""

    def write(self, line: str) -> str:
        return line


def _cell(value: Cell) -> Any:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    return harmless(value) if isinstance(value, str) else value
