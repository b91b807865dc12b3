"""Daily temperatures and the warmth that came together for flies, as a picture and a table in the reader's degrees."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING

from django.utils.formats import number_format
from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import gettext as _

from alerts.wording.development import flies_phrase
from alerts.wording.temperatures import degree_days, degrees, figure, in_degree_days, in_degrees, unit_of_degrees
from monitoring.charts import WarmthSeries, WarmthWords, warmth_chart
from server.web.words import short_day

if TYPE_CHECKING:
    from monitoring.selectors import Warmth

# As many days as a picture holds: a season's.
DAYS = timedelta(days=26 * 7)
IN_TABLE = 14


@dataclass(frozen=True)
class WarmthFigure:
    """The picture in two widths, sentences on what it shows, and the last days newest first as texts ("" = not known).

    A row of the table is the day, lowest, highest, whose they are, and the sum for each kind.
    """

    wide: SafeString
    narrow: SafeString
    told: tuple[str, ...]
    kinds: tuple[str, ...]
    rows: tuple[tuple[date, tuple[str, ...]], ...]
    unit: str


def warmth_figure(warmth: "Warmth | None") -> WarmthFigure | None:
    """None where no temperature is known."""
    if warmth is None:
        return None
    series, words = _series(warmth), _words(warmth)
    drawn = {shape: mark_safe(warmth_chart(series, words=words, shape=shape)) for shape in ("wide", "narrow")}  # type: ignore[arg-type]  # noqa: S308 - drawn by us, texts escaped
    kinds = tuple(flies_phrase(each.kind) for each in warmth.kinds)
    rows = tuple(_rows(warmth))
    return WarmthFigure(drawn["wide"], drawn["narrow"], tuple(_told(warmth)), kinds, rows, unit_of_degrees())


def _series(warmth: "Warmth") -> WarmthSeries:
    return WarmthSeries(
        first=warmth.first,
        lowest=_each(warmth.lowest),
        highest=_each(warmth.highest),
        thresholds=[
            (f"{flies_phrase(each.kind)}: {degrees(each.threshold, 1)}", in_degrees(each.threshold))
            for each in warmth.kinds
        ],
        added=[
            (
                flies_phrase(each.kind),
                [None if value is None else in_degree_days(value) for value in each.sums],
                in_degree_days(each.to_fly),
            )
            for each in warmth.kinds
        ],
    )


def _each(values: Sequence[float | None]) -> list[float | None]:
    return [None if value is None else in_degrees(value) for value in values]


def _words(warmth: "Warmth") -> WarmthWords:
    told = _("Each day's lowest to highest temperature since %(day)s, and the warmth for flies that came together.")
    return WarmthWords(
        title=_("Temperatures day by day"),
        description=f"{told % {'day': short_day(warmth.first)}} {' '.join(_sums(warmth))}",
        degrees=unit_of_degrees(),
        degree_days=_("degree-days (%(unit)s)") % {"unit": unit_of_degrees()},
        date_label=short_day,
        number=lambda value: number_format(round(value) + 0.0, 0, force_grouping=True),
    )


def _told(warmth: "Warmth") -> list[str]:
    """What the picture shows, and what is missing in it."""
    thresholds = [
        _("%(flies)s above %(threshold)s") % {"flies": flies_phrase(each.kind), "threshold": degrees(each.threshold, 1)}
        for each in warmth.kinds
    ]
    told = [
        _("Strokes go from each day's lowest to its highest temperature; the dashes are where flies begin to develop: ")
        + "; ".join(thresholds)
        + ".",
        *_sums(warmth),
        _("A short stroke across a line: enough warmth since the stroke before for one egg to become a fly."),
    ]
    missing = len(warmth.lowest) - warmth.known
    if missing:
        told.append(
            _("%(days)d of these days are not known: a gap, and the sums after it are a lower bound.")
            % {"days": missing}
        )
    return told


def _sums(warmth: "Warmth") -> list[str]:
    """Since June 1 for house flies 310 degree-days, of 210 to the fly."""
    words = _("For %(flies)s %(sum)s have come together since %(day)s; from egg to fly it takes %(whole)s.")
    return [
        words
        % {
            "flies": flies_phrase(each.kind),
            "sum": degree_days(max((value for value in each.sums if value is not None), default=0.0)),
            "day": short_day(warmth.first),
            "whole": degree_days(each.to_fly),
        }
        for each in warmth.kinds
    ]


def _rows(warmth: "Warmth") -> list[tuple[date, tuple[str, ...]]]:
    whose = {True: _("the farm's"), False: _("the region's")}
    rows = []
    days = warmth.days
    for at in range(len(days) - 1, max(len(days) - 1 - IN_TABLE, -1), -1):
        low, high = warmth.lowest[at], warmth.highest[at]
        if low is None or high is None:
            rows.append((days[at], ()))
            continue
        sums = [
            number_format(round(in_degree_days(each.sums[at] or 0.0)), 0, force_grouping=True) for each in warmth.kinds
        ]
        rows.append((days[at], (figure(low, 1), figure(high, 1), whose[warmth.is_own[at]], *sums)))
    return rows
