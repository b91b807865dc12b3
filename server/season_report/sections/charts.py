"""The charts: one a season and method, weekly means with their range, gaps as gaps, work and materials as letters."""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from datetime import date, timedelta

from django.utils.translation import gettext as _

from alerts.selectors.season_weeks import SeasonWeek
from alerts.wording.numbers import amount, dated_label, day_label
from alerts.wording.results import heading
from farms.clock import monday_of
from monitoring.charts import ChartWords, SeasonSeries, WorkMark, season_chart
from monitoring.methods import METHODS
from server.season_report.blocks import Block, Column, Picture, Section, Subhead, Table, Value, Words
from server.season_report.ground import Ground, Span
from server.season_report.told import NONE, exact, first_up
from server.web.figures import days_of_mark
from server.web.words import level_name

WEEK = timedelta(weeks=1)
# A chart of more weeks than a year would be a smear: a longer span is drawn in parts.
MOST = 53


def section(ground: Ground) -> Section:
    blocks: list[Block] = [
        Words(
            _("A ring is a week's mean: open below the action level, half filled near it, filled at or over it; the "
              "band about it is the range that the counts leave open. The level is the line across. A week without a "
              "count is a gap.")
        ),
    ]  # fmt: skip
    for span in ground.spans:
        for method in METHODS:
            blocks += _of_season(ground, span, method)
    if len(blocks) == 1:
        blocks = [Words(_("No week was judged in this time."))]
    return Section("charts", _("Week by week"), blocks)


def _of_season(ground: Ground, span: Span, method: str) -> Iterator[Block]:
    found = {
        week: row for week, row in ground.weeks.get(method, {}).items() if monday_of(span.first) <= week <= span.last
    }
    counted = [week for week, row in found.items() if row.mean is not None]
    if not counted:
        return
    yield Subhead(_("{what}, {year}").format(what=heading(method), year=span.years))
    weeks = [min(counted) + WEEK * at for at in range((max(counted) - min(counted)) // WEEK + 1)]
    for part in (weeks[at : at + MOST] for at in range(0, len(weeks), MOST)):
        yield _picture(ground, part, method, found)
    if letters := _letters(ground, weeks[0], weeks[-1] + timedelta(days=6)):
        yield Words(letters, "soft")
    yield _table(weeks, method, found, span)


def _picture(ground: Ground, weeks: list[date], method: str, found: dict[date, SeasonWeek]) -> Picture:
    rows = [found.get(week) for week in weeks]
    ends = [(row.low, row.high) if row and None not in (row.mean, row.low, row.high) else (None, None) for row in rows]
    series = SeasonSeries(
        key=f"{method}-{weeks[0]:%Y%m%d}",
        first_week=weeks[0],
        means=[row.mean if row else None for row in rows],
        lows=[low for low, _high in ends],
        highs=[high for _low, high in ends],
        levels=[row.result if row else None for row in rows],  # type: ignore[misc]
        action_level=[row.level if row else None for row in rows],
        at_least=[bool(row and row.at_least) for row in rows],
        work=tuple(WorkMark(mark.day, mark.letter, mark.until) for mark in ground.marks),
    )
    told = _("Weekly means from {first} to {last}; the table below has every week.")
    words = ChartWords(
        title=_("{what} week by week").format(what=heading(method)),
        description=told.format(first=dated_label(weeks[0]), last=dated_label(weeks[-1])),
        unit=str(METHODS[method].unit),
        action_level=_("action level"),
        no_counts=_("Nothing was counted."),
        date_label=day_label,
        number=amount,
    )
    return Picture(season_chart(series, words=words, shape="wide"), f"{words.title}. {words.description}")


def _letters(ground: Ground, first: date, last: date) -> str:
    """What the letters above the weeks are: C clean-out; R residual spray, on walls and surfaces.

    Where one letter is that of two kinds, their days tell them apart.
    """
    known: dict[str, dict[str, list[str]]] = defaultdict(lambda: defaultdict(list))
    for mark in reversed(ground.marks):
        if mark.day <= last and (mark.until or mark.day) >= first:
            known[mark.letter][mark.what].append(days_of_mark(mark))
    parts = [f"{letter} {_kinds(kinds)}" for letter, kinds in sorted(known.items())]
    return _("Letters above the weeks: {letters}.").format(letters="; ".join(parts)) if parts else ""


def _kinds(kinds: Mapping[str, Sequence[str]]) -> str:
    if len(kinds) == 1:
        return next(iter(kinds))
    return " · ".join(f"{kind} ({', '.join(days)})" for kind, days in sorted(kinds.items()))


def _table(weeks: list[date], method: str, found: dict[date, SeasonWeek], span: Span) -> Table:
    columns = [
        Column(_("Week of"), 1.3), Column(_("Mean"), 0.8, is_figure=True), Column(_("Range"), 1.3, is_figure=True),
        Column(_("Places counted"), 1, is_figure=True), Column(_("Without a count"), 1, is_figure=True),
        Column(_("Action level"), 0.9, is_figure=True), Column(_("How it stood"), 1.3),
    ]  # fmt: skip
    name = _("Weeks, {what}, {year}").format(what=heading(method), year=span.years)
    return Table(name, columns, [_week(week, found.get(week)) for week in weeks])


def _week(week: date, row: SeasonWeek | None) -> list[Value]:
    if row is None or row.mean is None:
        missing = row.missing if row is not None else None
        return [week, NONE, "", NONE, missing, exact(row.level) if row else None, _("not counted")]
    told = amount(row.mean, beside=row.level) if row.level is not None else amount(row.mean)
    mean: Value = f"{told}+" if row.at_least else told
    reach = (
        _("{low} to {high}").format(low=amount(row.low), high=amount(row.high))
        if row.low is not None and row.high is not None
        else ""
    )
    level = level_name(row.result) if row.level is not None else _("no level")
    return [week, mean, reach, row.devices, row.missing, exact(row.level), first_up(level)]
