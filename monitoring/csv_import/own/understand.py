"""A table of somebody's own, row by row, as what was chosen says: counts in the words of the fixed format.

What comes out is a file of the fixed format (docs/readings-file.md), so that everything behind it is the same: the
rules, the ids that follow from station and days, and with them that sending twice stores once.
"""

import csv
import io
from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import Any

from django.utils.translation import gettext_lazy as _

from farms.clock import monday_of
from monitoring.csv_import import cells
from monitoring.csv_import.own.choices import LEAVE_OUT, REFUSE, Choices, Layout, Meaning
from monitoring.csv_import.own.dates import parser_of
from monitoring.csv_import.own.grid import Grid
from monitoring.csv_import.own.guess import names_of, wide_key
from monitoring.errors import ChoiceMissing, TooManyRows
from monitoring.methods import METHODS
from monitoring.models.reading import NoCount
from monitoring.rules.cells import WrongCell
from monitoring.rules.stations import method_named, plain, station_key
from monitoring.rules.table import MOST_ROWS, BadCell, shown

FIXED = ("station", "hung on", "taken on", "count", "missing")
FIXED_NAMES = {"card": "Card", "trap": "Trap", "leg": "Leg count"}
FIXED_REASONS = {
    NoCount.LOST: "lost", NoCount.WET: "wet", NoCount.CHEWED: "chewed", NoCount.SPUN: "spun",
    NoCount.KEPT_OUT: "kept out", NoCount.NOT_VISITED: "not visited",
}  # fmt: skip
TOTALS = frozenset({
    "total", "totals", "totales", "sum", "suma", "mean", "average", "avg", "promedio", "media", "max", "min",
    "subtotal", "gran total", "grand total", "mean total",
})  # fmt: skip
USUAL = timedelta(days=7)
MOST_WORDS = 40

NO_DAY = _("This row has no day. Write one, or say that an empty cell means the day above it.")
NO_STATION = _("This names no card, trap or leg count by its number. Write its number, as 4 or Card 4.")
NO_METHOD = _("This is none of card, trap and leg count. Write one of them, or leave the column out.")
NO_DAYS = _("This is no number of days. Write it as 7, or leave the column out.")
NOT_DECIDED = _("This is no count, and above it isn't said what it means.")


@dataclass(frozen=True)
class Line:
    """One count as it is understood: the row that it came from, the station, its days, its count or reason as text."""

    row: int
    method: str
    number: int
    hung_on: date | None
    taken_on: date
    count: str
    reason: str
    building: str = ""

    @property
    def station(self) -> str:
        return f"{FIXED_NAMES[self.method]} {self.number}"

    @property
    def label(self) -> str:
        return str(METHODS[self.method].station_name).format(number=self.number)


@dataclass
class Understood:
    """What a table says by what was chosen. `words` are the texts in place of a count for which a meaning is needed."""

    lines: list[Line] = field(default_factory=list)
    refused: list[BadCell] = field(default_factory=list)
    passed_over: int = 0
    left_out: int = 0
    words: Counter[str] = field(default_factory=Counter)

    def content(self) -> bytes:
        """The file of the fixed format; its row 2 is `lines[0]`."""
        written = io.StringIO()
        write = csv.writer(written, lineterminator="\n")
        write.writerow(FIXED)
        for line in self.lines:
            hung = line.hung_on.isoformat() if line.hung_on else ""
            write.writerow([line.station, hung, line.taken_on.isoformat(), line.count, line.reason])
        return written.getvalue().encode()

    def without(self, rows: Iterable[int]) -> "Understood":
        """The same without the lines at these rows of the fixed file."""
        bad = set(rows)
        return Understood([line for place, line in enumerate(self.lines, start=2) if place not in bad])

    def weeks(self) -> list[dict[str, Any]]:
        """By method and week of taking down: how many counts, their mean as they were written, how many without."""
        found: dict[tuple[str, date], list[float | None]] = defaultdict(list)
        for line in self.lines:
            found[line.method, monday_of(line.taken_on)].append(_number(line.count))
        return [_week(method, week, counts) for (method, week), counts in sorted(found.items())]


def _number(text: str) -> float | None:
    try:
        read = cells.count_cell(text)
    except WrongCell:
        return None
    if read.animals:
        return sum(read.animals) / len(read.animals)
    return None if read.count is None else float(read.count)


def _week(method: str, week: date, counts: Sequence[float | None]) -> dict[str, Any]:
    known = [each for each in counts if each is not None]
    mean = sum(known) / len(known) if known else None
    return {
        "method": METHODS[method],
        "week": week,
        "counts": len(known),
        "mean": mean,
        "none": len(counts) - len(known),
    }


def understand(grid: Grid, choices: Choices, *, as_above: bool = False) -> Understood:
    """Read a table as it was chosen. Raises ChoiceMissing or DatesUnclear; bad cells are named, and their rows left."""
    _check(choices)
    return _Reader(grid, choices, as_above=as_above).read()


def _check(choices: Choices) -> None:
    if choices.column(Meaning.DATE) is None:
        raise ChoiceMissing(what=_("the day of the count"))
    wide = bool(choices.columns(Meaning.OF_ONE_STATION))
    if not wide and choices.column(Meaning.STATION) is None:
        raise ChoiceMissing(what=_("the card or trap"))
    if not wide and choices.column(Meaning.COUNT) is None:
        raise ChoiceMissing(what=_("the count"))
    if choices.up == Layout.COLUMN and not {Meaning.HUNG_ON, Meaning.DAYS} & set(choices.meanings):
        raise ChoiceMissing(what=_("since when it was up"))


class _Reader:
    """One reading of a grid: the columns by their meanings, and what was found so far."""

    def __init__(self, grid: Grid, choices: Choices, *, as_above: bool) -> None:
        self.grid, self.choices, self.as_above = grid, choices, as_above
        self.names = names_of(grid, choices.header)
        self.found = Understood()
        self.above: dict[Meaning, str] = {}
        self.last: dict[tuple[str, int], date] = {}
        self.parse = parser_of(
            self._days(), ", ".join(self.names[place] for place in self._day_columns()), choices.order or None,
            first_1904=grid.first_1904,
        )  # fmt: skip

    def read(self) -> Understood:
        header = self.grid.rows[self.choices.header - 1] if self.choices.header else None
        drafts: list[tuple[int, date, str, Sequence[str]]] = []
        for number, row in enumerate(self.grid.rows[self.choices.header :], start=self.choices.header + 1):
            if not any(row) or list(row) == list(header or ()) or self._is_total(row):
                self.found.passed_over += 1
                continue
            try:
                drafts.append((number, self._day(row), self._of(row, Meaning.BUILDING), row))
            except _Bad as bad:
                self._refuse(number, bad)
        # In the order of days: a card hangs since the count before it.
        for number, taken_on, building, row in sorted(drafts, key=lambda each: (each[1], each[0])):
            for cell in self._counts(row):
                self._take(number, taken_on, building, row, cell)
            if len(self.found.lines) + len(self.found.refused) > MOST_ROWS:
                raise TooManyRows(rows=f"{MOST_ROWS:,}")
        self.found.lines.sort(key=lambda line: (line.row, line.method, line.number))
        self.found.refused.sort(key=lambda bad: bad.row)
        return self.found

    def _take(self, number: int, taken_on: date, building: str, row: Sequence[str], cell: "_Cell") -> None:
        try:
            said = self._said(cell, self._reason(row))
            if said is None:
                self.found.left_out += 1
                return
            method, station = self._station(row, cell)
            hung_on = self._hung_on(row, taken_on, (method, station))
        except _Bad as bad:
            self._refuse(number, bad)
            return
        self.last[method, station] = taken_on
        self.found.lines.append(Line(number, method, station, hung_on, taken_on, *said, building))

    # --- days ---

    def _day_columns(self) -> list[int]:
        places = (self.choices.column(Meaning.DATE), self.choices.column(Meaning.HUNG_ON))
        return [place for place in places if place is not None]

    def _days(self) -> set[str]:
        rows = self.grid.rows[self.choices.header :]
        return {row[place] for row in rows for place in self._day_columns() if row[place]}

    def _day(self, row: Sequence[str]) -> date:
        text = self._of(row, Meaning.DATE)
        day = self._parsed(text, Meaning.DATE)
        if day is None:
            raise _Bad(self._name(Meaning.DATE), text, NO_DAY)
        return day

    def _parsed(self, text: str, meaning: Meaning) -> date | None:
        try:
            return self.parse(text)
        except WrongCell as error:
            raise _Bad(self._name(meaning), text, error.reason) from None

    def _hung_on(self, row: Sequence[str], taken_on: date, key: tuple[str, int]) -> date | None:
        if not METHODS[key[0]].hangs:
            return None
        if self.choices.up == Layout.BEFORE:
            return self.last.get(key, taken_on - USUAL)
        if self.choices.up == Layout.SEVEN:
            return taken_on - USUAL
        if self.choices.column(Meaning.HUNG_ON) is not None:
            return self._parsed(self._of(row, Meaning.HUNG_ON), Meaning.HUNG_ON)
        text = self._of(row, Meaning.DAYS)
        if not (cells.WHOLE.fullmatch(text) and len(text) <= 3):
            raise _Bad(self._name(Meaning.DAYS), text, NO_DAYS)
        return taken_on - timedelta(days=int(text.replace(",", ".").partition(".")[0]))

    # --- stations and counts ---

    def _counts(self, row: Sequence[str]) -> Iterator["_Cell"]:
        wide = self.choices.columns(Meaning.OF_ONE_STATION)
        places = wide or [self.choices.column(Meaning.COUNT) or 0]
        for place in places:
            yield _Cell(self.names[place], row[place], wide=bool(wide))

    def _station(self, row: Sequence[str], cell: "_Cell") -> tuple[str, int]:
        method = self._method(row)
        column, text = (
            (cell.name, cell.name) if cell.wide else (self._name(Meaning.STATION), self._of(row, Meaning.STATION))
        )
        key = wide_key(text, method) or station_key(f"card {_tail(text)}")
        if key is None:
            raise _Bad(column, text, NO_STATION)
        return (key[0] if station_key(text) else method), key[1]

    def _method(self, row: Sequence[str]) -> str:
        text = self._of(row, Meaning.METHOD)
        if not text:
            return self.choices.method
        found = method_named(text)
        if found is None:
            raise _Bad(self._name(Meaning.METHOD), text, NO_METHOD)
        return found

    def _reason(self, row: Sequence[str]) -> str:
        """A reason that stands in a column of its own, in the fixed words; empty for none, or for another remark."""
        text = self._of(row, Meaning.REASON)
        try:
            return FIXED_REASONS.get(NoCount(cells.reason(text)), "") if text and cells.reason(text) else ""
        except WrongCell:
            chosen = self.choices.words.get(plain(text), "")
            return FIXED_REASONS[NoCount(chosen)] if chosen in NoCount.values else ""

    def _said(self, cell: "_Cell", reason: str) -> tuple[str, str] | None:
        """Count and reason in the fixed words; None for a cell that is to be left out."""
        try:
            read = cells.count_cell(cell.text)
            if read.reason:
                return "", FIXED_REASONS[NoCount(read.reason)]
            if read.count is not None or read.animals is not None:
                return cell.text, ""
        except WrongCell as error:
            if cell.text[:1].isdigit() or (cell.text[:1] in "<>-" and cell.text[1:2].isdigit()):
                raise _Bad(cell.name, cell.text, error.reason) from None
        return ("", reason) if reason else self._by_word(cell)

    def _by_word(self, cell: "_Cell") -> tuple[str, str] | None:
        word = plain(cell.text)
        if word in self.found.words or len(self.found.words) < MOST_WORDS:
            self.found.words[word] += 1
        usual = usual_word(word, wide=cell.wide)
        chosen = self.choices.words.get(word, usual)
        if chosen == LEAVE_OUT:
            return None
        if chosen in NoCount.values:
            return "", FIXED_REASONS[NoCount(chosen)]
        raise _Bad(cell.name, cell.text, NOT_DECIDED)

    # --- cells ---

    def _of(self, row: Sequence[str], meaning: Meaning) -> str:
        place = self.choices.column(meaning)
        if place is None:
            return ""
        if self.as_above and meaning in (Meaning.DATE, Meaning.BUILDING):
            self.above[meaning] = row[place] or self.above.get(meaning, "")
            return self.above[meaning]
        return row[place]

    def _name(self, meaning: Meaning) -> str:
        place = self.choices.column(meaning)
        return "" if place is None else self.names[place]

    def _is_total(self, row: Sequence[str]) -> bool:
        return any(plain(cell).rstrip(".:") in TOTALS for cell in row if cell and not cell[0].isdigit())

    def _refuse(self, number: int, bad: "_Bad") -> None:
        self.found.refused.append(BadCell(number, bad.column, shown(bad.value), str(bad.reason), "not_understood"))


@dataclass(frozen=True)
class _Cell:
    """A cell in the place of a count, under the name of its column; `wide`: a column of one station."""

    name: str
    text: str
    wide: bool


class _Bad(Exception):
    """A cell that leaves its row out."""

    def __init__(self, column: str, value: str, reason: Any) -> None:
        super().__init__()
        self.column, self.value, self.reason = column, value, reason


def usual_word(word: str, *, wide: bool) -> str:
    """What is proposed for a text that is no count: nobody looked; in a column of one station, that nothing hung."""
    if word in cells.NOTHING:
        return LEAVE_OUT if wide and not word else NoCount.NOT_VISITED.value
    return REFUSE


def _tail(text: str) -> str:
    """The number at the end of a station's name, as in C-04 or "Nursery 4"; nothing where there is none."""
    bare = text.strip()
    digits = bare[len(bare.rstrip("0123456789")) :]
    return digits if digits.isascii() else ""
