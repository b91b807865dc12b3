"""A farm's season in pictures and tables, from what the weekly check concluded. Nothing is judged here."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any
from uuid import UUID

from django.template.loader import render_to_string
from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from alerts.models.alert import Rule
from alerts.selectors.season_weeks import FanWeek, SeasonWeek
from monitoring.charts import ChartWords, SeasonSeries, WeekAhead, WorkMark, season_chart
from server.web.kept_in_words import kept_in_words
from server.web.season import Mark, MethodSeasons, ends_of
from server.web.words import method_name, rate, short_day, unit, week_of

WEEK = timedelta(weeks=1)


@dataclass(frozen=True)
class TableWeek:
    """One week of the table: None = not judged. `before` is the year before's, `work` and `began` what is marked."""

    week: date
    row: SeasonWeek | None
    before: SeasonWeek | None
    work: str
    began: str


@dataclass(frozen=True)
class Figure:
    """One method's season in two widths, as a table, and what the moving chart is drawn from."""

    method: str
    title: str
    wide: SafeString
    narrow: SafeString
    weeks: tuple[TableWeek, ...]
    to_come: tuple[tuple[date, FanWeek], ...]
    marks: tuple[tuple[Mark, str], ...]
    began: tuple[tuple[date, str], ...]
    before_name: str
    data: dict[str, Any]

    @property
    def has_band(self) -> bool:
        """Whether a programme of several days is among the marks."""
        return any(mark.until is not None for mark, _days in self.marks)

    @property
    def data_id(self) -> str:
        return f"season-data-{self.method}"


def season_sections(farm_id: UUID, seasons: Iterable[MethodSeasons]) -> list[tuple[str, SafeString]]:
    """For each method that was counted in the weeks shown its code and its part of the page; the first explains."""
    counted = [each for each in seasons if each.is_counted]
    return [(each.method, _section(farm_id, each, is_first=each is counted[0])) for each in counted]


def _section(farm_id: UUID, seasons: MethodSeasons, *, is_first: bool) -> SafeString:
    content = (seasons.method, seasons.until, tuple(seasons.rows.values()), seasons.fan, seasons.marks, seasons.began)

    def made() -> SafeString:
        shown = {"farm_id": farm_id, "figure": _figure(seasons), "first": is_first}
        return mark_safe(render_to_string("web/includes/season.html", shown))  # noqa: S308 - a template's

    return kept_in_words(("season", farm_id, is_first, *content), made)


def _figure(seasons: MethodSeasons) -> Figure:
    weeks = seasons.of_this_season
    series = _series(seasons, weeks)
    words = _words(seasons, weeks, series.before_name)
    drawn = {shape: mark_safe(season_chart(series, words=words, shape=shape)) for shape in ("wide", "narrow")}  # type: ignore[arg-type]  # noqa: S308 - drawn by us, texts escaped
    return Figure(
        method=seasons.method,
        title=words.title,
        wide=drawn["wide"],
        narrow=drawn["narrow"],
        weeks=tuple(_table(seasons, weeks)),
        to_come=tuple(zip(seasons.to_come(), seasons.fan, strict=True)),
        marks=tuple((each, days_of_mark(each)) for each in seasons.marks if not set(weeks).isdisjoint(each.weeks)),
        began=tuple((each.week, rule_name(each.rule)) for each in seasons.began if each.week in weeks),
        before_name=series.before_name,
        data=moving_data(seasons),
    )


def _series(seasons: MethodSeasons, weeks: Sequence[date]) -> SeasonSeries:
    found = [seasons.rows.get(week) for week in weeks]
    before = seasons.year_before([*weeks, *seasons.to_come()])
    told = [row.mean if row else None for row in before]
    return SeasonSeries(
        key=seasons.method,
        first_week=weeks[0],
        means=[row.mean if row else None for row in found],
        lows=[ends_of(row)[0] for row in found],
        highs=[ends_of(row)[1] for row in found],
        levels=[row.result if row else None for row in found],  # type: ignore[misc]
        action_level=[row.level if row else None for row in found],
        at_least=[bool(row and row.at_least) for row in found],
        work=tuple(WorkMark(mark.day, mark.letter, mark.until) for mark in seasons.marks),
        ahead=tuple(
            WeekAhead(each.median, ((each.low, each.high), (each.inner_low, each.inner_high))) for each in seasons.fan
        ),
        before=told if any(value is not None for value in told) else (),
        before_name=str(seasons.until.isocalendar().year - 1),
        began=tuple(each.week for each in seasons.began),
    )


def _table(seasons: MethodSeasons, weeks: Sequence[date]) -> Iterable[TableWeek]:
    """Newest first."""
    before = dict(zip(weeks, seasons.year_before(weeks), strict=True))
    for week in reversed(weeks):
        work = ", ".join(f"{mark.what} ({days_of_mark(mark)})" for mark in seasons.marks if week in mark.weeks)
        began = ", ".join(rule_name(each.rule) for each in seasons.began if each.week == week)
        yield TableWeek(week, seasons.rows.get(week), before[week], work, began)


def _words(seasons: MethodSeasons, weeks: Sequence[date], before_name: str) -> ChartWords:
    method = seasons.method
    counted = [row for week in weeks if (row := seasons.rows.get(week)) and row.mean is not None]
    last = counted[-1]
    told = _("Weekly mean for each week. The last one, %(week)s, is %(mean)s %(unit)s. The table below has every week.")
    told = told % {"week": week_of(last.week), "mean": rate(last.mean), "unit": unit(method)}
    if seasons.fan:
        told += " " + _("Beyond the upright line stands what the weeks to come may bring.")
    return ChartWords(
        title=_("%(what)s, week by week") % {"what": method_name(method).capitalize()},
        description=told,
        unit=unit(method),
        action_level=_("action level"),
        no_counts=_("Nothing was counted yet."),
        date_label=short_day,
        number=rate,
        to_come=_("to come"),
    )


def days_of_mark(mark: Mark) -> str:
    """Jun 1; of a programme Jun 1 to Jun 29, 5 times."""
    if mark.until is None:
        return short_day(mark.day)
    words = ngettext("{first} to {last}, {times} time", "{first} to {last}, {times} times", mark.times)
    return words.format(first=short_day(mark.day), last=short_day(mark.until), times=mark.times)


def rule_name(rule: str) -> str:
    """Over the action level; rising."""
    return str(Rule(rule).label)


def moving_data(seasons: MethodSeasons) -> dict[str, Any]:
    """All seasons as the moving chart takes them: a list a column, one value a week, null where none was counted."""
    weeks = seasons.weeks
    rows = [seasons.rows.get(week) for week in weeks]
    ends = [ends_of(row) for row in rows]
    return {
        "method": seasons.method,
        "first": weeks[0].isoformat(),
        "season": seasons.of_this_season[0].isoformat(),
        "mean": [_short(row.mean) if row else None for row in rows],
        "low": [_short(low) for low, _high in ends],
        "high": [_short(high) for _low, high in ends],
        "level": [row.level if row else None for row in rows],
        "result": [row.result if row and row.mean is not None else "" for row in rows],
        "devices": [row.devices if row else 0 for row in rows],
        "atLeast": [at for at, row in enumerate(rows) if row is not None and row.at_least],
        "work": [
            [_index(mark.week, weeks), mark.letter, mark.what]
            for mark in seasons.marks
            if mark.until is None and mark.week >= weeks[0]
        ],
        # Programmes: the first and the last week, the latter maybe beyond the weeks that were judged.
        "bands": [
            [max(0, _index(mark.week, weeks)), _index(mark.weeks[-1], weeks), mark.letter, _band_words(mark)]
            for mark in seasons.marks
            if mark.until is not None and mark.weeks[-1] >= weeks[0]
        ],
        "began": [[_index(each.week, weeks), rule_name(each.rule)] for each in seasons.began],
        "ahead": [[_short(value) for value in each[1:]] for each in seasons.fan],
    }


def _band_words(mark: Mark) -> str:
    return f"{mark.what} ({days_of_mark(mark)})"


def _index(week: date, weeks: Sequence[date]) -> int:
    return (week - weeks[0]).days // 7


def _short(value: float | None) -> float | None:
    """Four digits: what a chart can show, in a third of the bytes."""
    return None if value is None else float(f"{value:.4g}")
