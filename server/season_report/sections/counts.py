"""Every count with its gaps: cards and traps by building and season, a line a day; leg counts one by one."""

from collections import defaultdict
from collections.abc import Iterator, Sequence
from datetime import date, timedelta
from decimal import Decimal
from typing import TYPE_CHECKING
from uuid import UUID

import numpy as np
from django.utils.formats import number_format
from django.utils.translation import gettext as _

from alerts.wording.numbers import dated_label
from alerts.wording.results import heading
from monitoring.analysis.weeks import week_of_exposure
from monitoring.methods import METHODS
from server.season_report.blocks import (
    Block,
    Column,
    Count,
    CountLine,
    CountTable,
    Points,
    Section,
    Subhead,
    Table,
    Value,
    Words,
)
from server.season_report.ground import LONG, SHORT, Ground, Span, days_up, is_late
from server.season_report.told import NONE, first_up
from server.web.choices import label_of

if TYPE_CHECKING:
    from monitoring.models import Reading, Station

ACROSS = 7  # stations beside each other on a page
PARTS = {0.5: "½", 0.25: "¼", 0.125: "⅛", 0.75: "¾"}


def section(ground: Ground) -> Section:
    blocks: list[Block] = [
        Words(_("A line is a day on which something was taken down. A word in place of a number says why there is "
                "none. A dash: nothing of that place was taken down then.")),
        Points(_letters()),
    ]  # fmt: skip
    for span in ground.spans:
        tables = [*_hanging(ground, span), *_legs(ground, span)]
        if tables:
            blocks += [Subhead(_("Season {year}").format(year=span.years)), *tables]
    outside = [row for row in ground.readings if not any(span.holds(row.taken_on) for span in ground.spans)]
    if outside:
        span = Span(*ground.days)
        blocks += [Subhead(_("Outside the seasons")), *_hanging(ground, span, outside), *_legs(ground, span, outside)]
    if len(blocks) == 2:
        blocks = [Words(_("Nothing was counted in this time."))]
    return Section("counts", _("Every count"), blocks)


def _letters() -> list[str]:
    return [
        _("+ at least so many: too many to count"),
        _("½, ¼ and so on: counted on that part of the card, told as counted"),
        _("c corrected later: see the corrections"),
        _("e estimated by the cup"),
        _("l came in more than 14 days late"),
        _("s up for less than 3 days"),
        _("o up for more than 14 days"),
    ]


# --- cards and traps ---


def _hanging(ground: Ground, span: Span, rows: "Sequence[Reading] | None" = None) -> Iterator[CountTable]:
    known = ground.readings if rows is None else rows
    of_span = [row for row in known if row.method != "leg" and span.holds(row.taken_on)]
    by_place: dict[tuple[UUID, str], list[Reading]] = defaultdict(list)
    for row in of_span:
        by_place[row.station.facility_id, row.method].append(row)
    order = list(ground.facilities)
    for facility_id, method in sorted(by_place, key=lambda each: (order.index(each[0]), list(METHODS).index(each[1]))):
        found = by_place[facility_id, method]
        stations = sorted({row.station_id: row.station for row in found}.values(), key=lambda each: each.number)
        for part in (stations[at : at + ACROSS] for at in range(0, len(stations), ACROSS)):
            yield _table(ground, part, found, method)


def _table(ground: Ground, stations: "Sequence[Station]", rows: "Sequence[Reading]", method: str) -> CountTable:
    ids = [station.id for station in stations]
    mine = [row for row in rows if row.station_id in set(ids)]
    place = ground.place(stations[0].facility_id, "")
    return CountTable(
        name=f"{place}: {heading(method)}",
        place=place,
        method=heading(method),
        stations=[station.label for station in stations],
        lines=_lines(ground, ids, mine),
        heads=(_("Taken down"), _("Hung"), _("Days up")),
    )


def _lines(ground: Ground, ids: Sequence[object], rows: "Sequence[Reading]") -> list[CountLine]:
    """By day taken down and day hung; weeks of which there is nothing in between. Two at one station are two lines."""
    by_days: dict[tuple[date, date | None, int], dict[object, Reading]] = defaultdict(dict)
    for row in rows:
        # Two cards may hang at one station for the same days: each its line.
        level = 0
        while row.station_id in by_days.get((row.taken_on, row.hung_on, level), {}):
            level += 1
        by_days[row.taken_on, row.hung_on, level][row.station_id] = row
    lines = [
        CountLine(taken, hung, (taken - hung).days if hung else None, [_count(ground, found.get(each)) for each in ids])
        for (taken, hung, _level), found in by_days.items()
    ]
    lines += [CountLine(week, gap=_gap(week)) for week in _weeks_without(rows)]
    return sorted(lines, key=lambda line: (line.taken_on, line.hung_on or line.taken_on))


def _gap(week: date) -> str:
    return _("Week of {day}: nothing was taken down").format(day=dated_label(week))


def _weeks_without(rows: "Sequence[Reading]") -> list[date]:
    hung = np.array([row.hung_on or row.taken_on for row in rows], "M8[D]")
    taken = np.array([row.taken_on for row in rows], "M8[D]")
    weeks = set(week_of_exposure(hung, taken).tolist())
    number = (max(weeks) - min(weeks)).days // 7
    return [week for at in range(number) if (week := min(weeks) + timedelta(weeks=at)) not in weeks]


def _count(ground: Ground, row: "Reading | None") -> Count | None:
    if row is None:
        return None
    if row.count is None:
        why = str(label_of("monitoring.Reading", "reason", row.reason)) if row.reason else _("withdrawn")
        return Count(why, marks_of(ground, row), reason=why)
    return Count(
        count_told(row), marks_of(ground, row), row.count, row.fraction if row.fraction != 1 else None, row.at_least
    )


def count_told(row: "Reading") -> str:
    """118; 300+; 61 of ¼."""
    told = number_format(row.count or 0, force_grouping=True) + ("+" if row.at_least else "")
    if row.fraction == 1:
        return told
    part = PARTS.get(float(row.fraction)) or number_format(row.fraction.normalize())
    return _("{count} of {part}").format(count=told, part=part)


def marks_of(ground: Ground, row: "Reading") -> str:
    """The letters beside a count."""
    days = days_up(row)
    marks = [
        ("c", row.corrects_id is not None),
        ("e", row.how == "cup"),
        ("l", is_late(row)),
        ("s", days is not None and days < SHORT),
        ("o", days is not None and days > LONG),
    ]
    return " ".join(letter for letter, holds in marks if holds)


# --- leg counts ---


def _legs(ground: Ground, span: Span, rows: "Sequence[Reading] | None" = None) -> Iterator[Block]:
    known = ground.readings if rows is None else rows
    found = [row for row in known if row.method == "leg" and span.holds(row.taken_on)]
    if not found:
        return
    columns = [
        Column(_("Day"), 1.3), Column(_("Place"), 1.4), Column(_("Flies"), 0.6, is_figure=True),
        Column(_("Animals"), 0.8, is_figure=True), Column(_("An animal"), 0.8, is_figure=True),
        Column(_("One by one"), 2), Column(_("How it was"), 1.6), Column(_("Marks"), 0.6),
    ]  # fmt: skip
    yield Table(
        _("Leg counts, {year}").format(year=span.years), columns, [_leg(ground, row) for row in found], titled=True
    )


def _leg(ground: Ground, row: "Reading") -> list[Value]:
    where = f"{row.station.label}, {ground.place(row.station.facility_id, '')}"
    if row.count is None:
        why = label_of("monitoring.Reading", "reason", row.reason) if row.reason else _("withdrawn")
        return [row.taken_on, where, NONE, NONE, NONE, first_up(why), "", marks_of(ground, row)]
    animals = row.animals or []
    mean = Decimal(f"{row.count / len(animals):.1f}") if animals else None
    each = " ".join(str(number) for number in animals)
    return [row.taken_on, where, row.count, len(animals), mean, each, _how_it_was(row), marks_of(ground, row)]


def _how_it_was(row: "Reading") -> str:
    """Pen 2, 09:30, sunny, bunching, sprayed that week."""
    parts = [row.pen, f"{row.time_of_day:%H:%M}" if row.time_of_day else "", row.weather]
    parts += [_("bunching") if row.bunching else "", _("sprayed that week") if row.sprayed else ""]
    return ", ".join(part for part in parts if part)
