"""A farm's weeks against its own past, as its page shows them: a sentence and a picture for each method."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

from django.template.loader import render_to_string
from django.utils.functional import Promise
from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from alerts.models.assessment import TrendWord
from alerts.selectors.own_past import DOUBTFUL, own_past_of
from monitoring.charts import ChartWords, SeasonSeries, own_past_chart
from server.web.kept_in_words import kept_in_words
from server.web.words import method_name, rate, short_day, unit

if TYPE_CHECKING:
    from alerts.models import Assessment
    from alerts.selectors.farm_counts import FarmCounts
    from alerts.selectors.own_past import MethodPast, PastWeek
    from farms.models import Farm

BY_SEASON = "season"
WHY_NOT: dict[str, Promise] = {
    "not_counted": gettext_lazy("Not counted this week: there is nothing to hold against the weeks before."),
    "too_few_weeks": gettext_lazy(
        "Too early to tell: a week is held against the twelve before it, of which six must have been counted."
    ),
    "too_few_counts": gettext_lazy("Too few were counted to tell one week from another."),
    "all_zero": gettext_lazy("Nothing was caught all along."),
    "not_comparable": gettext_lazy("Too few of the same places were counted in this week and in those before it."),
    DOUBTFUL: gettext_lazy(
        "Lower than this farm's own past lets expect, but animals had been sprayed or it was cold: that says little."
    ),
}


@dataclass(frozen=True)
class OwnPastFigure:
    """One method: what this week is beside the farm's own past, and the picture in two widths (empty: nothing yet)."""

    method: str
    title: str
    told: str
    unlike: bool
    wide: SafeString
    narrow: SafeString
    how: tuple[str, ...]


def own_past_sections(
    farm: "Farm", week: date, results: "Mapping[str, Assessment]", seen: "FarmCounts"
) -> dict[str, SafeString]:
    """By method its part of the page, for those counted in the weeks shown; `results` are the week's, of the whole
    farm.
    """
    return {past.method: _section(past, results.get(past.method)) for past in own_past_of(farm, week, seen)}


def _section(past: "MethodPast", result: "Assessment | None") -> SafeString:
    trend = result.trend if result is not None else None

    def made() -> SafeString:
        shown = {"past": _figure(past, trend)}
        return mark_safe(render_to_string("web/includes/own_past.html", shown))  # noqa: S308 - a template's

    return kept_in_words(("own past", past, trend), made)


def _figure(past: "MethodPast", trend: str | None) -> OwnPastFigure:
    last = past.weeks[-1]
    title = _("%(what)s against this farm's own weeks") % {"what": method_name(past.method).capitalize()}
    told = " ".join(filter(None, (told_of_week(last), while_within(last, trend))))
    shown = _from_first_told(past.weeks)
    drawn = {shape: _drawn(past.method, shown, title, told, shape) for shape in ("wide", "narrow")}
    return OwnPastFigure(
        past.method,
        title,
        told,
        last.word in ("above", "below"),
        drawn["wide"],
        drawn["narrow"],
        tuple(how_often(past)),
    )


def _from_first_told(weeks: "Sequence[PastWeek]") -> "Sequence[PastWeek]":
    first = next((at for at, week in enumerate(weeks) if week.level is not None), len(weeks))
    return weeks[first:]


def told_of_week(week: "PastWeek") -> str:
    """Unlike its own past: higher than its weeks before let expect, for 2 weeks in a row."""
    if week.word == "above":
        told = ngettext(
            "Unlike its own past: higher than the weeks before let expect.",
            "Unlike its own past: higher than the weeks before let expect, for {weeks} weeks in a row.",
            week.weeks_outside,
        )
    elif week.word == "below":
        told = ngettext(
            "Unlike its own past: lower than the weeks before let expect.",
            "Unlike its own past: lower than the weeks before let expect, for {weeks} weeks in a row.",
            week.weeks_outside,
        )
    else:
        return str(WHY_NOT.get(week.reason, _("Like its own past.")))
    return told.format(weeks=week.weeks_outside)


def while_within(week: "PastWeek", trend: str | None) -> str:
    """Why a farm whose level is within the band is called rising (or falling) all the same."""
    if week.word != "within":
        return ""
    if trend == TrendWord.RISING:
        return _("It is the last weeks alone that rise: the level over many weeks does not stand out yet.")
    if trend == TrendWord.FALLING:
        return _("It is the last weeks alone that fall: the level over many weeks does not stand out yet.")
    return ""


def how_often(past: "MethodPast") -> list[str]:
    """What the band is, and how often a level farm leaves it by chance."""
    told = [
        _(
            "The line is this farm's level, smoothed; the band is where its own twelve weeks before would have it; "
            "diamonds are outside."
        )
    ]
    if any(week.basis == BY_SEASON for week in past.weeks):
        told.append(_("The time of the year is taken out by the same weeks of this farm's earlier years."))
    else:
        told.append(
            _("In a first year the season itself can take it out of the band, up in summer and down in autumn.")
        )
    if past.lent:
        by_chance = _("A farm that stays level leaves the band by chance about once in {weeks:.0f} weeks.")
        told.append(by_chance.format(weeks=past.run_length))
    else:
        told.append(_("A farm that stays level leaves the band by chance about once in 35 to 120 weeks."))
    return told


def _drawn(method: str, weeks: "Sequence[PastWeek]", title: str, told: str, shape: str) -> SafeString:
    if not weeks:
        return mark_safe("")
    series = SeasonSeries(
        key=f"{method}-own-past",
        first_week=weeks[0].week,
        means=[week.level for week in weeks],
        lows=[week.low for week in weeks],
        highs=[week.high for week in weeks],
    )
    words = ChartWords(
        title=title,
        description=told,
        unit=unit(method),
        action_level="",
        no_counts="",
        date_label=short_day,
        number=rate,
    )
    unlike = [week.word if week.word in ("above", "below") else "" for week in weeks]
    return mark_safe(own_past_chart(series, unlike, words=words, shape=shape))  # type: ignore[arg-type]  # noqa: S308 - drawn by us, texts escaped
