"""The picture in a digest: the last eight weeks of what stands highest against its level, and the same in words."""

from collections.abc import Sequence
from datetime import date, timedelta

from django.utils.translation import gettext as _

from alerts.delivery.letter import Picture
from alerts.models import Assessment
from alerts.selectors.farm_weeks import FarmWeek, place_of, share_of_level
from alerts.selectors.results import WeekMean
from alerts.wording.numbers import amount, day_label
from alerts.wording.results import heading
from monitoring.charts import ChartWords, Level, SeasonSeries, WorkMark, season_chart, to_mail_png
from monitoring.charts.layout import Shape
from monitoring.methods import METHODS

# About twice the size at which the mail shows it.
PIXELS = 960


def picture_of(told: FarmWeek) -> Picture | None:
    """The chart of a farm's week; None where nothing was counted in eight weeks."""
    drawn = drawing_of(told, "narrow")
    if drawn is None:
        return None
    svg, words = drawn
    return Picture(to_mail_png(svg, width=PIXELS), words)


def drawing_of(told: FarmWeek, shape: Shape) -> tuple[str, str] | None:
    """The chart as SVG in one of its shapes, and in words what it shows."""
    row = row_to_show(told)
    if row is None:
        return None
    rows = told.series[place_of(row)]
    words = ChartWords(
        title=_title(told, row),
        description=_in_words(rows, told.week),
        unit=str(METHODS[row.method].unit),
        action_level=_("action level"),
        no_counts=_("Nothing counted yet"),
        date_label=day_label,
        number=amount,
    )
    return season_chart(_series(told, row), words=words, shape=shape), f"{words.title}. {words.description}"


def row_to_show(told: FarmWeek) -> Assessment | None:
    """This week's row of the place whose weeks are drawn: what is highest against its level.

    Facilities come in only where one is over its level and the farm's mean isn't: a hot barn must not vanish in it.
    """
    of_farm = [
        row for row in told.farm_rows.values() if any(each and each.mean is not None for each in _weeks(told, row))
    ]
    hot = [row for row in told.over if row.facility_id is not None]
    if hot and not any(row.facility_id is None for row in told.over):
        return max(hot, key=share_of_level)
    counted = [row for row in of_farm if row.mean is not None]
    return max(counted or of_farm, key=share_of_level, default=None)


def letter_of(label: object) -> str:
    """The letter that marks work above the weeks: the first of what it is called."""
    return str(label)[0].upper()


def _weeks(told: FarmWeek, row: Assessment) -> Sequence[WeekMean | None]:
    return told.series[place_of(row)]


def _title(told: FarmWeek, row: Assessment) -> str:
    place = told.facilities[row.facility_id].name if row.facility_id else told.farm.name
    return _("{method} week by week, {place}").format(method=heading(row.method), place=place)


def _series(told: FarmWeek, now: Assessment) -> SeasonSeries:
    rows, work = _weeks(told, now), told.work
    ends = [(row.low, row.high) if row and None not in (row.low, row.high) else (None, None) for row in rows]
    return SeasonSeries(
        key=now.method,
        first_week=told.first_week,
        means=[row.mean if row else None for row in rows],
        lows=[low for low, _high in ends],
        highs=[high for _low, high in ends],
        levels=[_level(row) for row in rows],
        action_level=[row.level if row else now.level for row in rows],
        at_least=[bool(row and row.at_least) for row in rows],
        work=(WorkMark(work.done_on, letter_of(work.label)),) if work else (),
    )


def _level(row: WeekMean | None) -> Level | None:
    return row.result if row else None  # type: ignore[return-value]  # the column's choices are these words


def _in_words(rows: Sequence[WeekMean | None], week: date) -> str:
    """Every week with its mean, so that nobody needs the picture."""
    told = []
    for back, row in zip(range(len(rows) - 1, -1, -1), rows, strict=True):
        mean = _("not counted") if row is None or row.mean is None else amount(row.mean)
        told.append(f"{day_label(week - timedelta(weeks=back))}: {mean}")
    level = next((row.level for row in reversed(rows) if row is not None and row.level is not None), None)
    return "; ".join(told) + (". " + _("Action level {level}.").format(level=amount(level)) if level else ".")
