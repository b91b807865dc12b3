"""A farm's season in pictures and tables, from what the weekly check concluded. Nothing is judged here."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING

from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import gettext as _

from alerts.delivery.chart import letter_of_work
from monitoring.charts import ChartWords, SeasonSeries, WorkMark, season_chart
from monitoring.methods import METHODS
from server.web.words import method_name, rate, short_day, unit, week_of

if TYPE_CHECKING:
    from alerts.models import Assessment
    from monitoring.models import Work

WEEK = timedelta(weeks=1)


@dataclass(frozen=True)
class Figure:
    """One method's season in two widths, and as a table: a row for every week, None = not judged."""

    method: str
    title: str
    wide: SafeString
    narrow: SafeString
    weeks: tuple["tuple[date, Assessment | None]", ...]
    marks: tuple[tuple[str, date, str], ...]


def season_figures(assessments: Iterable["Assessment"], works: Sequence["Work"], until: date) -> list[Figure]:
    """A figure for each method that was ever counted in these weeks, up to the week (its Monday) `until`."""
    by_method: dict[str, dict[date, Assessment]] = {}
    for row in assessments:
        if row.facility_id is None:
            by_method.setdefault(row.method, {})[row.week] = row
    marks = _marks(works)
    counted = {method for method, rows in by_method.items() if any(row.mean is not None for row in rows.values())}
    return [_figure(method, by_method[method], marks, until) for method in METHODS if method in counted]


def _figure(
    method: str, rows: dict[date, "Assessment"], marks: tuple[tuple[str, date, str], ...], until: date
) -> Figure:
    first = min(rows)
    weeks = [first + WEEK * number for number in range((max(until, *rows) - first).days // 7 + 1)]
    found = [rows.get(week) for week in weeks]
    series = SeasonSeries(
        key=method,
        first_week=first,
        means=[row.mean if row else None for row in found],
        lows=[_interval(row)[0] for row in found],
        highs=[_interval(row)[1] for row in found],
        levels=[row.result if row else None for row in found],  # type: ignore[misc]
        action_level=[row.level if row else None for row in found],
        at_least=[bool(row and row.at_least) for row in found],
        work=tuple(WorkMark(day, letter) for letter, day, _what in marks),
    )
    words = _words(method, [row for row in found if row])
    drawn = {shape: mark_safe(season_chart(series, words=words, shape=shape)) for shape in ("wide", "narrow")}  # type: ignore[arg-type]  # noqa: S308 - drawn by us, texts escaped
    in_time = tuple(mark for mark in marks if weeks[0] <= mark[1] < weeks[-1] + WEEK)
    return Figure(method, words.title, drawn["wide"], drawn["narrow"], tuple(zip(weeks, found, strict=True)), in_time)


def _interval(row: "Assessment | None") -> tuple[float | None, float | None]:
    """Both ends of a week's range, or neither: where all were too many to count there is a lower end only."""
    if row is None or row.mean is None or row.low is None or row.high is None:
        return None, None
    return row.low, row.high


def _words(method: str, rows: Sequence["Assessment"]) -> ChartWords:
    counted = [row for row in rows if row.mean is not None]
    last = counted[-1] if counted else None
    told = (
        _("Weekly mean for each week. The last one, %(week)s, is %(mean)s %(unit)s. The table below has every week.")
        % {"week": week_of(last.week), "mean": rate(last.mean), "unit": unit(method)}
        if last
        else _("Nothing was counted yet.")
    )
    return ChartWords(
        title=_("%(what)s, week by week") % {"what": method_name(method).capitalize()},
        description=told,
        unit=unit(method),
        action_level=_("action level"),
        no_counts=_("Nothing was counted yet."),
        date_label=short_day,
        number=rate,
    )


def _marks(works: Sequence["Work"]) -> tuple[tuple[str, date, str], ...]:
    """A letter for each kind of work, the same as in the mail."""
    return tuple((letter_of_work(work), work.done_on, str(work.get_kind_display())) for work in works)
